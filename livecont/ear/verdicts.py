"""Whether an answer is right, for each exercise, and what there is to say of it.

Conventions: times on the session's clock; `start_s` is when the question began to sound. What is
said is in sentences as on the screen, the most important first. `detail` is what is kept, as JSON.
Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from livecont.ear.judging import Judgement, judge
from livecont.ear.questions import Question
from livecont.ear.telling import told, told_counted, told_named, told_odd, told_step
from livecont.ear.tolerance import Tolerance
from livecont.sequence.events import Note
from livecont.sequence.pattern import Kind, Pattern

SOONEST_S = 0.05  # nobody reacts sooner to what he hears
LATEST_UNITS = 0.5  # after the odd link …
LATEST_S = 1.0  # … or so long
# semitones that an interval of so many places may have (common practice; the tritone is both)
SIZES = {1: (1, 2), 2: (3, 4), 3: (5, 6), 4: (6, 7), 5: (8, 9), 6: (10, 11)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Whether an answer is right, and what is said of it."""

    right: bool
    said: tuple[str, ...]
    detail: dict[str, Any] = field(default_factory=dict)
    judgement: Judgement | None = None


def played_link(
    question: Question,
    played: Sequence[Note],
    start_s: float,
    *,
    any_octave: bool,
    tolerance: Tolerance,
) -> Verdict:
    """Judge the third link.

    Raises:
        ValueError: the question asks for none.
    """
    if question.due is None:
        raise ValueError(f"{question.item.exercise} asks for no link")
    key = question.matter.pattern.key
    due_s = start_s + question.ends_s
    judgement = judge(
        question.due, played, key, due_s=due_s, any_octave=any_octave, tolerance=tolerance
    )
    begun_s = played[0].onset_s if played else due_s
    return Verdict(
        right=judgement.right,
        said=told(judgement),
        judgement=judgement,
        detail={
            "notes": [
                [round(note.onset_s - begun_s, 3), note.pitch, note.velocity] for note in played
            ],
            "start_off_s": _rounded(judgement.start_off_s),
            "tempo": _rounded(judgement.tempo),
            "right_notes": judgement.right_notes,
            "right_time": judgement.right_time,
        },
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def pressed(question: Question, start_s: float, at_s: float | None) -> Verdict:
    """Judge the moment at which an odd link was told; None: it was let pass.

    Raises:
        ValueError: the question has no odd link.
    """
    odd = question.odd
    if odd is None:
        raise ValueError(f"{question.item.exercise} has no odd link")
    place = next(i for i, link in enumerate(question.links) if link.number == odd.link.number)
    odd_s = start_s + place * question.unit_s + odd.offset_s
    latest_s = latest_press_s(question, start_s)
    right = at_s is not None and odd_s + SOONEST_S <= at_s <= latest_s
    return Verdict(
        right=right,
        said=told_odd(odd, right=right, early=at_s is not None and at_s < odd_s + SOONEST_S),
        detail={
            "after_s": None if at_s is None else round(at_s - odd_s, 3),
            "due": odd.due.name,
            "heard": odd.heard.name,
            "link": odd.link.number,
            "hard": odd.hard,
        },
    )


def latest_press_s(question: Question, start_s: float) -> float:
    """Return until when an odd link may be told."""
    odd = question.odd
    number = odd.link.number if odd is not None else question.links[-1].number
    place = next(i for i, link in enumerate(question.links) if link.number == number)
    after_s = max(LATEST_S, LATEST_UNITS * question.unit_s)
    return start_s + (place + 1) * question.unit_s + after_s


def step_played(question: Question, first: int, second: int) -> Verdict:
    """Judge two notes that are to show the step."""
    pattern = question.matter.pattern
    right = second - first in step_sizes(pattern)
    return Verdict(
        right=right,
        said=told_step(pattern, second - first, right=right),
        detail={"played": second - first},
    )


def step_sizes(pattern: Pattern) -> frozenset[int]:
    """Return by how many semitones two notes may lie apart that show a step.

    A real step has one size; a tonal one any that its interval has in the scale.
    """
    if pattern.kind is Kind.REAL and pattern.shift_semitones is not None:
        return frozenset((pattern.shift_semitones,))
    octaves, places = divmod(abs(pattern.step_degrees), 7)
    way = 1 if pattern.step_degrees > 0 else -1
    return frozenset(way * (12 * octaves + size) for size in SIZES.get(places, (0,)))


def named(question: Question, choice: int) -> Verdict:
    """Judge a name, by its place in the list, from 1.

    Raises:
        ValueError: the question has no name.
    """
    label = question.matter.label
    if label is None:
        raise ValueError(f"{question.item.exercise} has no name")
    chosen = question.names[choice - 1] if 1 <= choice <= len(question.names) else None
    right = chosen is not None and chosen.text == label.text
    return Verdict(
        right=right,
        said=told_named(label, chosen, right=right),
        detail={"named": chosen.text if chosen is not None else None, "label": label.text},
    )


def counted(question: Question, count: int) -> Verdict:
    """Judge how many links are said to be left.

    Raises:
        ValueError: the question does not ask for that.
    """
    if question.left is None:
        raise ValueError(f"{question.item.exercise} counts no links")
    right = count == question.left
    return Verdict(
        right=right,
        said=told_counted(question.left, count, right=right),
        detail={"counted": count, "left": question.left},
    )
