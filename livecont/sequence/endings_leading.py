"""Voice leading: what the outer voices do from one sonority to the next.

Conventions: an outer pair is the (lowest, highest) MIDI pitch of a moment; a hand's notes count
until it strikes again, however short they are held. The rules are those of common practice, as
every handbook of harmony has them: no parallel fifths, octaves or unisons between the outer voices,
and hidden ones only with the upper voice by step.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

PERFECT = (0, 7)
LOWER, UPPER = 0, 1
# notes struck within so much of a link belong together
TOGETHER_UNITS = 0.025


class Outer(NamedTuple):
    """The lowest and the highest pitch of a moment."""

    low: int
    high: int


class Struck(NamedTuple):
    """A note as far as voice leading is concerned: when, by which hand, what."""

    offset: float
    part: int
    pitch: int


def outer_pairs(notes: Iterable[Struck]) -> list[Outer]:
    """Return an outer pair for every moment at which something is struck and both hands sound.

    Notes by offset. One hand alone has no outer voices; a chord in it has none either.
    """
    pairs: list[Outer] = []
    now: dict[int, tuple[float, list[int]]] = {}
    moment = None
    for offset, part, pitch in sorted(notes):
        if moment is None or offset - moment > TOGETHER_UNITS:
            moment = offset
            _take(pairs, now)
        began, pitches = now.get(part, (offset, []))
        if offset - began > TOGETHER_UNITS:
            began, pitches = offset, []
        now[part] = (began, [*pitches, pitch])
    _take(pairs, now)
    return pairs


def _take(pairs: list[Outer], now: dict[int, tuple[float, list[int]]]) -> None:
    if len(now) > 1:
        pairs.append(Outer(min(now[LOWER][1]), max(now[UPPER][1])))


def forbidden(before: Outer, after: Outer) -> bool:
    """Whether two voices go in parallel from a fifth, octave or unison to another.

    >>> forbidden(Outer(48, 67), Outer(50, 69)), forbidden(Outer(48, 67), Outer(53, 69))
    (True, False)
    """
    low, high = after.low - before.low, after.high - before.high
    interval = (before.high - before.low) % 12
    return low * high > 0 and interval in PERFECT and (after.high - after.low) % 12 == interval


def hidden(before: Outer, after: Outer) -> bool:
    """Whether both go the same way into a fifth or octave, the upper one by leap."""
    low, high = after.low - before.low, after.high - before.high
    return low * high > 0 and abs(high) > 2 and (after.high - after.low) % 12 in PERFECT


def awkward(leap: int) -> float:
    """Return how awkward a melodic leap in semitones is: tritones, sevenths, beyond the octave.

    >>> awkward(7), awkward(-6), awkward(19) > awkward(12)
    (0.0, 0.5, True)
    """
    size = abs(leap)
    if size in {6, 10, 11}:
        return 0.5
    return max(0, size - 12) / 12


def parallels(pairs: Sequence[Outer]) -> int:
    """Count the parallel fifths, octaves and unisons along a row of outer pairs."""
    return sum(forbidden(a, b) for a, b in pairwise(pairs))
