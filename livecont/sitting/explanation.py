"""What a sequence is, worked out for the links that are shown: too long for the path of a note.

A sitting asks for it (`Analyse`) and is told (`Analysed`); who works it out, and where, is not the
sitting's business. Pure.

Conventions: links are numbered from 1, the model. Voices are told from the top down.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from livecont.music.harmony import Harmony
from livecont.music.key import Key
from livecont.music.numeral import figured_bass, numerals
from livecont.music.pitch import Spelling, spell_at
from livecont.sequence.analysis import Analysis, analysed, harmonies_at
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Kind, Pattern

MIDDLE = 28  # the staff place of middle C
SLACK_UNITS = 0.01  # a note that begins so little before a harmony belongs to it


# tuples with names: what goes from one process to another is taken in where notes are heard, and
# these take a third of the time


class MainTold(NamedTuple):
    """A main note's name; `suspended` where it has yet to resolve into the harmony."""

    name: str
    suspended: bool = False


class HarmonyTold(NamedTuple):
    """A harmony of a link: its roman numeral, the figures over its bass, its main notes.

    The main notes are a row for each voice, the highest first, by time.
    """

    numeral: str
    figures: str
    voices: tuple[tuple[MainTold, ...], ...]


class LinkTold(NamedTuple):
    """A link's harmonies, by time; each has as many voices as the others.

    `key` is the tonic of the key that they are told in where each link is in its own, in a real
    chain: small for minor. None: the pattern's.
    """

    harmonies: tuple[HarmonyTold, ...]
    key: str | None = None


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


def explain(pattern: Pattern, home: int = 1) -> Explanation:
    """Work out what a pattern is: some tens of milliseconds.

    Args:
        pattern: the pattern.
        home: which link is in the pattern's key, where each is in its own.
    """
    analysis = analysed(pattern)
    course = Course(pattern)
    first = course.first_known
    # the first lap may still look back at what was played, the second repeats itself for ever
    numbers = range(first, course.last_heard + 2 * course.lap + 1)
    harmonies = [harmonies_at(analysis, course, number) for number in (*numbers, numbers[-1] + 1)]
    return Explanation(
        analysis=analysis,
        first=first,
        lap=course.lap,
        links=tuple(
            _told(analysis, course, number, _Place(here, after, _key_at(course, number, home)))
            for number, (here, after) in zip(numbers, pairwise(harmonies), strict=True)
        ),
    )


class _Place(NamedTuple):
    """Where a link is: its harmonies, those of the next, and its own key where it has one."""

    harmonies: tuple[Harmony, ...]
    following: tuple[Harmony, ...]
    own_key: Key | None


def _key_at(course: Course, number: int, home: int) -> Key | None:
    """The key that a link of a real chain is in, spelled as its notes are; None in other chains."""
    pattern, key = course.pattern, course.pattern.key
    shift = pattern.shift_semitones
    if pattern.kind is not Kind.REAL or shift is None:
        return None
    known = max(home, course.first_known)
    pairs = zip(course.spelled(known), course.spelled(number), strict=True)
    away = sorted(there.staff - here.staff for here, there in pairs if here and there)
    places = away[len(away) // 2] if away else (number - known) * pattern.step_degrees
    places += (known - home) * pattern.step_degrees
    tonic = Spelling(MIDDLE + key.letter, key.alter)
    moved = spell_at(tonic.midi + (number - home) * shift, tonic.staff + places)
    return Key(moved.letter, moved.alter, key.mode)


def _told(analysis: Analysis, course: Course, number: int, place: _Place) -> LinkTold:
    harmonies, following = place.harmonies, place.following
    key = place.own_key or course.pattern.key
    romans = numerals(harmonies, key, following[0] if following else None)
    starts = [harmony.start_units for harmony in analysis.harmonies]
    voices = sorted({note.voice for note in analysis.reduction}, reverse=True)
    groups: list[list[_Placed]] = [[] for _ in starts]
    for placed in _main_notes(analysis, course, number):
        groups[max(0, bisect_right(starts, placed.offset_units + SLACK_UNITS) - 1)].append(placed)
    return LinkTold(
        harmonies=tuple(
            HarmonyTold(
                numeral=numeral,
                figures=figured_bass(harmony, key),
                voices=tuple(
                    tuple(placed.told for placed in group if placed.voice == voice)
                    for voice in voices
                ),
            )
            for numeral, harmony, group in zip(romans, harmonies, groups, strict=True)
        ),
        key=place.own_key.tonic if place.own_key is not None else None,
    )


class _Placed(NamedTuple):
    """A main note in a link, where it sounds."""

    offset_units: float
    voice: int
    told: MainTold


def _main_notes(analysis: Analysis, course: Course, number: int) -> list[_Placed]:
    """A link's main notes by time; what the link before holds over into it is among them."""
    found = []
    for link, past in ((number - 1, 1.0), (number, 0.0)):
        if link < course.first_known:
            continue
        spelled = course.spelled(link)
        for note in analysis.reduction:
            offset, pitch = note.offset_units - past, spelled[note.position]
            if -SLACK_UNITS <= offset < 1.0 - SLACK_UNITS and pitch is not None:
                found.append(
                    _Placed(offset, note.voice, MainTold(pitch.letter_name, note.suspended))
                )
    return sorted(found, key=lambda placed: placed.offset_units)
