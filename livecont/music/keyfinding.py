"""Estimating the key from what was played.

Conventions: weights per pitch class, C = 0; a key's score is the correlation of the weights with
the key's profile, -1..1, after Krumhansl (1990), with the profiles of Krumhansl & Kessler (1982).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from livecont.music.key import MOST_FIFTHS, Key

# Krumhansl & Kessler (1982), as printed in music21 10.5.1 (analysis/discrete.py), tonic first
MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)


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
