"""The estimated key against music21's own key analysis (music21.analysis.discrete).

The profiles are Bellman's (2005) after Budge (1943), which music21 has as BellmanBudge; both
correlate them with the durations of the pitch classes, so that on notes of one length the keys and
the coefficients must be the same.
"""

from __future__ import annotations

import random  # noqa: TID251  seeded

import music21
import pytest

from livecont.music.keyfinding import MAJOR, MINOR, key_scores

TONICS = range(12)


def weights_of(pitches: list[int]) -> list[float]:
    weights = [0.0] * 12
    for pitch in pitches:
        weights[pitch % 12] += 1.0
    return weights


def their_answer(pitches: list[int]) -> tuple[int, str, float]:
    """Tonic's pitch class, mode, correlation."""
    stream = music21.stream.Stream(
        [music21.note.Note(midi=pitch, quarterLength=1.0) for pitch in pitches]
    )
    found = music21.analysis.discrete.BellmanBudge().getSolution(stream)
    return found.tonic.pitchClass, found.mode, found.correlationCoefficient


def test_the_profiles_are_those_published() -> None:
    theirs = music21.analysis.discrete.BellmanBudge()
    assert list(MAJOR) == theirs.getWeights("major")
    assert list(MINOR) == theirs.getWeights("minor")


@pytest.mark.parametrize("mode", ["major", "minor"])
def test_cadences_in_every_key(mode: str) -> None:
    """Tonic, subdominant, dominant, tonic; the minor's dominant with its raised third."""
    third = 4 if mode == "major" else 3
    for tonic in TONICS:
        degrees = (0, third, 7, 5, 5 + third, 12, 7, 11, 14, 12, 12 + third, 19)
        pitches = [60 + tonic + d for d in degrees]
        (best, score), *_ = key_scores(weights_of(pitches))
        assert (best.tonic_pitch_class, best.mode) == (tonic, mode)
        *theirs, coefficient = their_answer(pitches)
        assert [best.tonic_pitch_class, best.mode] == theirs
        assert score == pytest.approx(coefficient)


@pytest.mark.parametrize("seed", range(12))
def test_any_melody_has_the_key_that_music21_finds(seed: int) -> None:
    dice = random.Random(seed)
    tonic = dice.randrange(12)
    steps = [0, 2, 4, 5, 7, 9, 11] if seed % 2 else [0, 2, 3, 5, 7, 8, 11]
    pitches = [55 + tonic + dice.choice(steps) + 12 * dice.randrange(2) for _ in range(24)]
    (best, score), *_ = key_scores(weights_of(pitches))
    *theirs, coefficient = their_answer(pitches)
    assert [best.tonic_pitch_class, best.mode] == theirs
    assert score == pytest.approx(coefficient)


def test_all_twenty_four_keys_are_told_best_first_and_readably() -> None:
    scores = key_scores(weights_of([60, 62, 64, 65, 67, 69, 71, 72]))
    assert len({(key.tonic_pitch_class, key.mode) for key, _ in scores}) == 24
    values = [score for _, score in scores]
    assert values == sorted(values, reverse=True)
    assert all(abs(key.fifths) <= 6 for key, _ in scores)


@pytest.mark.parametrize("weights", [[0.0] * 12, [1.0] * 12])
def test_where_nothing_speaks_for_a_key_none_is_preferred(weights: list[float]) -> None:
    assert {score for _, score in key_scores(weights)} == {0.0}
