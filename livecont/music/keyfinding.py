"""Estimating the key from what was played.

Conventions: weights per pitch class, C = 0; a key's score is the correlation of the weights with
the key's profile, -1..1 (Krumhansl 1990), with later profiles, named below.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from livecont.music.key import MOST_FIFTHS, Key

# Bellman (2005) after Budge (1943), as printed in music21 10.5.1 (analysis/discrete.py), tonic
# first: how often each degree sounds in common practice. On the development cases it finds the key
# signature more often than the profiles of Krumhansl & Kessler (1982): as played 0.49 and 0.28.
MAJOR = (16.80, 0.86, 12.95, 1.41, 13.49, 11.93, 1.25, 20.28, 1.80, 8.04, 0.62, 10.57)
MINOR = (18.16, 0.69, 12.99, 13.34, 1.07, 11.15, 1.38, 21.07, 7.49, 1.53, 0.92, 10.21)

# `likely_keys`, in nats: for each nat of the notes' mean log share; for each pitch class foreign to
# the key in the first link and in the later one. Fitted to the signatures of the 153 development
# runs [fit]; fits to either half of the works find the keys of the other half as often.
PER_NAT = 1.35
PER_FOREIGN_IN_FIRST = -0.95
PER_FOREIGN_IN_LATER = -0.75
# for each sharp or flat beyond so many, which are rare in old keyboard music (common practice), and
# for a minor key: two in three pieces are in major [fit]
PER_FAR_ACCIDENTAL = -0.3
NEAR_ACCIDENTALS = 3
FOR_MINOR = -0.4
LEAST_LIKELY = 0.02


@lru_cache(maxsize=1)
def _shares() -> NDArray[np.float64]:
    """The logarithm of each pitch class's share of a key's notes, a row a key."""
    rows = []
    for key in _profiles()[0]:
        profile = np.roll(np.array(MAJOR if key.mode == "major" else MINOR), key.tonic_pitch_class)
        rows.append(np.log(profile / profile.sum()))
    return np.array(rows)


@lru_cache(maxsize=1)
def _priors() -> NDArray[np.float64]:
    """How likely each key is before a note is heard, in nats."""
    return np.array(
        [
            PER_FAR_ACCIDENTAL * max(0, abs(key.fifths) - NEAR_ACCIDENTALS)
            + (FOR_MINOR if key.minor else 0.0)
            for key in _profiles()[0]
        ]
    )


@lru_cache(maxsize=1)
def _scales() -> NDArray[np.float64]:
    """1 for each pitch class that is foreign to a key, minor with both its sevenths."""
    keys = _profiles()[0]
    foreign = np.ones((len(keys), 12))
    for row, key in enumerate(keys):
        for staff in range(7):
            foreign[row, key.natural(staff).midi % 12] = 0.0
        if key.minor:
            foreign[row, (key.tonic_pitch_class + 11) % 12] = 0.0
    return foreign


def likely_keys(
    weights: Sequence[float], one: Iterable[int], two: Iterable[int]
) -> tuple[tuple[Key, float], ...]:
    """Return the keys that two links may be in, likeliest first, with their probabilities.

    A log-linear model: how usual the notes are in the key, how many pitch classes of each link are
    foreign to it, and how usual the key is. Keys less likely than `LEAST_LIKELY` are left out.

    Args:
        weights: of what was heard, by pitch class.
        one: the first link's MIDI pitches.
        two: the later link's.

    >>> [key.name for key, _ in likely_keys([1.0] * 12, (60, 64, 67), (62, 65, 69))][:1]
    ['C major']
    """
    heard = np.asarray(weights, dtype=np.float64)
    score = _priors() + PER_NAT * (_shares() @ heard) / max(heard.sum(), 1e-9)
    for per_foreign, link in ((PER_FOREIGN_IN_FIRST, one), (PER_FOREIGN_IN_LATER, two)):
        sounds = np.zeros(12)
        sounds[[pitch % 12 for pitch in link]] = 1.0
        score = score + per_foreign * (_scales() @ sounds)
    chances = np.exp(score - score.max())
    chances = chances / chances.sum()
    order = np.argsort(-chances, kind="stable")
    keys = _profiles()[0]
    return tuple((keys[i], float(chances[i])) for i in order if chances[i] >= LEAST_LIKELY)


@lru_cache(maxsize=1)
def _profiles() -> tuple[tuple[Key, ...], NDArray[np.float64]]:
    """The 24 keys with the fewest accidentals, and their profiles, centred and of unit length."""
    keys: dict[tuple[int, str], Key] = {}
    for mode in ("major", "minor"):
        for letter in range(7):
            for alter in (-1, 0, 1):
                key = Key(letter, alter, mode)
                if abs(key.fifths) > MOST_FIFTHS:
                    continue
                place = (key.tonic_pitch_class, mode)
                rank = (abs(key.fifths), key.fifths > 0)
                known = keys.get(place)
                if known is None or rank < (abs(known.fifths), known.fifths > 0):
                    keys[place] = key
    rows = []
    for (tonic, mode), _ in keys.items():
        profile = np.roll(np.array(MAJOR if mode == "major" else MINOR), tonic)
        profile = profile - profile.mean()
        rows.append(profile / np.linalg.norm(profile))
    return tuple(keys.values()), np.array(rows)


def key_scores(weights: Sequence[float]) -> tuple[tuple[Key, float], ...]:
    """Return every key with its score, best first; all zero where the weights are even.

    >>> scale = [1.0 if (7 * pc) % 12 in (0, 1, 2, 3, 4, 5, 11) else 0.0 for pc in range(12)]
    >>> scale[0] = scale[7] = 2.0
    >>> key_scores(scale)[0][0].name
    'C major'
    """
    keys, profiles = _profiles()
    centred = np.asarray(weights, dtype=np.float64)
    centred = centred - centred.mean()
    length = np.linalg.norm(centred)
    scores = profiles @ (centred / length) if length > 0 else np.zeros(len(keys))
    order = np.argsort(-scores, kind="stable")
    return tuple((keys[i], float(scores[i])) for i in order)
