"""The key of two links, where nobody named it.

Two links are few notes, and a key is often more than they tell. But what they are to be carried on
with is the same in most of the keys that they may be in: so the next link is drawn up in each of
them, the one that the most of the probability agrees on is taken, and with it the likeliest key
that leads there (Bayes' rule, with the key summed out).

Conventions: as in `sequence.pattern`; weights are by pitch class, C first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.keyfinding import likely_keys
from livecont.sequence.continuation import carry_on
from livecont.sequence.pattern import Position

# two readings may pair other notes, which moves a position by a hair
OFFSET_PLACES = 2
# more keys make no difference on the development cases; fewer than these do
MOST_KEYS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The two links' notes as they are spelled in a key, and how likely the key is."""

    key: Key
    weight: float
    positions: tuple[Position, ...]


def keys_of_links(
    weights: Sequence[float], positions: Sequence[Position]
) -> tuple[tuple[Key, float], ...]:
    """Return the keys that the latest two links may be in, likeliest first, with their weights.

    Args:
        weights: of all that was heard, the latest most.
        positions: the links' notes.
    """
    one, two = (
        [heard.midi for position in positions if (heard := position.heard[link]) is not None]
        for link in (-2, -1)
    )
    return likely_keys(weights, one, two)[:MOST_KEYS]


def most_agreed(readings: Iterable[Reading], step_degrees: int) -> Reading:
    """Return the likeliest of the readings that lead to the link most of the weight agrees on.

    Args:
        readings: likeliest first, their weights adding up to 1 at most; no more of them are drawn
            up than can still make a difference.
        step_degrees: the step.
    """
    agreed: dict[frozenset[tuple[float, int]], float] = {}
    likeliest: dict[frozenset[tuple[float, int]], Reading] = {}
    left = 1.0
    for reading in readings:
        link = _next_link(reading, step_degrees)
        agreed[link] = agreed.get(link, 0.0) + reading.weight
        likeliest.setdefault(link, reading)
        left -= reading.weight
        first, *others = sorted(agreed.values(), reverse=True)
        if first >= left + max(others, default=0.0):
            break
    return likeliest[max(agreed, key=lambda link: agreed[link])]


def _next_link(reading: Reading, step_degrees: int) -> frozenset[tuple[float, int]]:
    """When each note of the next link is due, in units from its start, and its MIDI pitch."""
    following = carry_on(reading.positions, step_degrees, reading.key, homes=1)
    return frozenset(
        (round(position.offset_units, OFFSET_PLACES), pitch.midi)
        for position, pitch in zip(reading.positions, following, strict=True)
        if pitch is not None
    )
