"""What the rules say to every two accidentals of two tones that meet.

The same few meetings come again and again, in every link and under every signature, so that their
tables are remembered.

Conventions: tones as (letter, accidental); options are accidentals; merits in nats.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from livecont.sequence.continuation_home import Floats
from livecont.sequence.continuation_rules import (
    Interval,
    Pairing,
    Weights,
    bonds,
    interval,
    merit_of,
)

Letter = tuple[int, int]


class Side(NamedTuple):
    """A tone in the links heard, and what it may be in the next."""

    one: Letter | None  # in the first link, None where that has it not
    two: Letter  # in the later link
    letter: int  # in the next link
    options: tuple[int, ...]


class Pair(NamedTuple):
    """Two tones, and how they meet: in melody or not, the first one lower or not."""

    one: Side
    other: Side
    kinds: tuple[tuple[bool, bool], ...]


@lru_cache(maxsize=1 << 12)
def pair_table(
    pair: Pair, home: tuple[int, ...], leap: bool, weights: Weights
) -> tuple[Floats, Floats]:
    """Return the merits of every two options: those that count whole, those that pairs share.

    Args:
        pair: the two tones.
        home: the accidental of each letter in the home signature, C first.
        leap: whether the chain moves by more than a step.
        weights: the rules' weights.
    """
    v, w, kinds = pair
    pairings = [
        (low, _pairing(v, w, melodic, home, leap) if low else _pairing(w, v, melodic, home, leap))
        for melodic, low in kinds
    ]
    whole, shared = np.zeros((2, len(v.options), len(w.options)))
    for row, a in enumerate(v.options):
        for column, b in enumerate(w.options):
            bits = 0
            for low, pairing in pairings:
                bits |= bonds(pairing, a, b) if low else bonds(pairing, b, a)
            whole[row, column], shared[row, column] = merit_of(bits, weights)
    return whole, shared


def _pairing(low: Side, high: Side, melodic: bool, home: tuple[int, ...], leap: bool) -> Pairing:
    """How two tones stood in the links heard."""
    two, bent_two = _interval(low.two, high.two, home)
    one, bent_one = None, False
    if low.one is not None and high.one is not None:
        one, bent_one = _interval(low.one, high.one, home)
    return Pairing(
        melodic=melodic,
        one=one,
        two=two,
        bent_one=bent_one,
        bent_two=bent_two,
        leap=leap,
        raised=any(alter > home[letter] for letter, alter in (low.two, high.two)),
        low=low.letter,
        high=high.letter,
        high_home=home[high.letter],
    )


def _interval(x: Letter, y: Letter, home: tuple[int, ...]) -> tuple[Interval, bool]:
    """The interval of two tones, and whether the home signature has it otherwise."""
    found = interval(*x, *y)
    return found, found != interval(x[0], home[x[0]], y[0], home[y[0]])
