"""What a sequence is, worked out for the links that are shown: too long for the path of a note.

A sitting asks for it (`Analyse`) and is told (`Analysed`); who works it out, and where, is not the
sitting's business. Pure.

Conventions: links are numbered from 1, the model. Voices are told from the top down.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.pitch import Spelling
from livecont.sequence.analysis import Analysis, analysed
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Pattern
from livecont.sequence.reduction import MainNote

LINKS_TOLD = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkTold:
    """A link's main notes: one row a voice, the highest first, each by time."""

    voices: tuple[tuple[Spelling, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """What a pattern is, and what its links are from link `first` on; they repeat after `lap`."""

    analysis: Analysis
    first: int
    lap: int
    links: tuple[LinkTold, ...]

    def link(self, number: int) -> LinkTold | None:
        """Return what a link of the chain is; None before the first one known."""
        index = number - self.first
        if index < 0 or not self.links:
            return None
        beyond = max(0, index - len(self.links) + 1)
        index -= -(-beyond // self.lap) * self.lap
        return self.links[index] if index >= 0 else None


def explain(pattern: Pattern) -> Explanation:
    """Work out what a pattern is: some tens of milliseconds."""
    analysis = analysed(pattern)
    course = Course(pattern)
    first = course.first_known
    return Explanation(
        analysis=analysis,
        first=first,
        lap=course.lap,
        links=tuple(
            _told(analysis.reduction, course.spelled(number))
            for number in range(first, first + max(LINKS_TOLD, course.lap))
        ),
    )


def _told(reduction: tuple[MainNote, ...], spelled: tuple[Spelling | None, ...]) -> LinkTold:
    voices = sorted({note.voice for note in reduction}, reverse=True)
    return LinkTold(
        voices=tuple(
            tuple(
                pitch
                for note in reduction
                if note.voice == voice and (pitch := spelled[note.position]) is not None
            )
            for voice in voices
        )
    )
