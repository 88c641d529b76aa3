"""Estimating the key from what was played.

Conventions: weights per pitch class, C = 0; a key's score is the correlation of the weights with
the key's profile, -1..1 (Krumhansl 1990), with later profiles, named below.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from livecont.music.key import MOST_FIFTHS, Key

# Bellman (2005) after Budge (1943), as printed in music21 10.5.1 (analysis/discrete.py), tonic
# first: how often each degree sounds in common practice. On the development cases it finds the key
# signature more often than the profiles of Krumhansl & Kessler (1982): as played 0.49 and 0.28.
MAJOR = (16.80, 0.86, 12.95, 1.41, 13.49, 11.93, 1.25, 20.28, 1.80, 8.04, 0.62, 10.57)
MINOR = (18.16, 0.69, 12.99, 13.34, 1.07, 11.15, 1.38, 21.07, 7.49, 1.53, 0.92, 10.21)


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
