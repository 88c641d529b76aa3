"""Confidence grows with what speaks for a sequence, and falls with what speaks against it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.alignment import Alignment
from livecont.sequence.confidence import LEAST_PAIRS, confidence_of, likelihood_of
from livecont.sequence.lags import Path
from livecont.sequence.pattern import Position
from tests.sequence.heard import C_MAJOR

PATH = Path(
    newest=31,
    lags=np.full(8, 8, np.int64),
    moves=np.zeros(8, np.uint8),
    gained=np.arange(9, dtype=np.float64),
    begun=True,
)
ALIGNMENT = Alignment(
    lag=8, step_degrees=-1, gain=14.0, fit=0.8, begun=1.0, links=2.0, notes=8, path=PATH
)


def rising(values: list[float]) -> bool:
    return all(a < b for a, b in pairwise(values))


def test_likelihood_grows_with_fit_and_gain_and_falls_with_length() -> None:
    fits = [likelihood_of(replace(ALIGNMENT, fit=fit)) for fit in (0.45, 0.6, 0.8, 1.0, 1.1)]
    gains = [likelihood_of(replace(ALIGNMENT, gain=gain)) for gain in (3.0, 8.0, 20.0, 80.0)]
    lags = [likelihood_of(replace(ALIGNMENT, lag=lag)) for lag in (64, 32, 16, 8, 4)]
    for values in (fits, gains, lags):
        assert rising(values), values
        assert 0 < values[0] < values[-1] < 1


def position(*heard: str) -> Position:
    """A note of the link; '-' where a link does not have it."""
    return Position(
        offset_units=0.0,
        articulation=0.1,
        velocity=70,
        channel=0,
        heard=tuple(None if name == "-" else spelling(name) for name in heard),
    )


COPY = [
    position(a, b)
    for a, b in zip(
        ["C4", "E4", "D4", "F4", "G4", "A4"], ["D4", "F4", "E4", "G4", "A4", "B4"], strict=True
    )
]


def test_a_perfect_copy_is_all_but_certain() -> None:
    assert confidence_of(tuple(COPY), C_MAJOR) > 0.95


def test_notes_without_their_image_speak_against_it() -> None:
    lone = [position("C5", "-"), position("-", "B3")]
    values = [confidence_of(tuple(COPY + lone * n), C_MAJOR) for n in (6, 3, 2, 1, 0)]
    assert rising(values), values
    assert values[0] < 0.5


def test_unusual_spellings_speak_against_it() -> None:
    odd = [position("Cb5", "Db5"), position("E#4", "F#4")]
    plain = [position("B4", "C5"), position("F4", "G4")]
    key = parse_key("C major")
    values = [
        confidence_of(tuple(COPY + odd), key),
        confidence_of(tuple([*COPY, odd[0], plain[1]]), key),
        confidence_of(tuple(COPY + plain), key),
    ]
    assert rising(values), values


def test_more_pairs_say_more() -> None:
    values = [confidence_of(tuple(COPY[:4] * n), C_MAJOR) for n in (1, 2, 4, 8)]
    assert rising(values), values


@pytest.mark.parametrize("count", range(LEAST_PAIRS))
def test_fewer_than_four_pairs_are_no_link(count: int) -> None:
    assert confidence_of(tuple(COPY[:count]), C_MAJOR) == 0.0
    lone = tuple(position("C5", "-") for _ in range(8))
    assert confidence_of((*COPY[:count], *lone), C_MAJOR) == 0.0
