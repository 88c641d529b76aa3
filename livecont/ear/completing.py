"""When an answer is complete, and what it then says.

Conventions: seconds. An answer is complete as soon as nothing more can change it; where it could,
after a silence that is long against the music. Pure.
"""

from __future__ import annotations

from itertools import pairwise

from livecont.ear.asked import Exercise
from livecont.ear.following import chords_of
from livecont.ear.questions import Question
from livecont.ear.setup import Setup
from livecont.ear.sounds import Playing
from livecont.ear.verdicts import Verdict, counted, named, played_link, step_played

EARLY_UNITS = 0.3  # so long before a link is due it may be begun …
EARLY_S = 0.5  # … but no longer than this
ENOUGH_S = 0.5  # silence after as many notes as are due
UNSURE_S = 2.0  # silence after fewer
GAPS = 2.0  # a silence is so many times the longest gap between notes that are due
COUNTED_S = 2.0  # silence after the last of some keys that are counted
APART_S = 0.06  # two onsets so far apart are two, not a chord (75 % of listeners at 22 ms)


def early_s(question: Question) -> float:
    """Return how long before the question has sounded an answer may begin."""
    return min(EARLY_S, EARLY_UNITS * question.unit_s)


def is_complete(question: Question, playing: Playing) -> bool:
    """Whether nothing more can change the answer: two notes of a step."""
    return question.item.exercise is Exercise.STEP and len(_apart(playing)) >= 2


def patience_s(question: Question, playing: Playing) -> float:
    """Return how long a silence ends the answer that has been begun."""
    if question.due is None:
        return COUNTED_S if question.item.exercise is not Exercise.STEP else UNSURE_S * 5
    chords = chords_of(question.due.notes)
    gap_s = max((b.offset_s - a.offset_s for a, b in pairwise(chords)), default=0.0)
    if len(playing.notes) >= len(question.due.notes):
        return max(ENOUGH_S, gap_s / 2)
    return max(UNSURE_S, GAPS * gap_s)


def understood(
    question: Question, playing: Playing, typed: str, start_s: float, setup: Setup
) -> Verdict:
    """Return the verdict on what was played or typed.

    An odd link is judged by its moment alone (`verdicts.pressed`).
    """
    notes = playing.notes
    match question.item.exercise:
        case Exercise.STEP:
            apart = _apart(playing)
            return step_played(question, apart[0], apart[-1])
        case Exercise.NAME_IT:
            return named(question, int(typed) if typed else len(_apart(playing)))
        case Exercise.HOW_MANY:
            return counted(question, int(typed) if typed else len(_apart(playing)))
        case _:
            return played_link(
                question, notes, start_s, any_octave=setup.any_octave, tolerance=setup.tolerance
            )


def _apart(playing: Playing) -> list[int]:
    """The pitches played one after the other; of a chord the first that was struck."""
    found: list[tuple[float, int]] = []
    for note in playing.notes:
        if not found or note.onset_s - found[-1][0] >= APART_S:
            found.append((note.onset_s, note.pitch))
    return [pitch for _, pitch in found]
