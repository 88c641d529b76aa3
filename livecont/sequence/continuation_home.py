"""The home signature of the links heard, and the scales that hold a link.

Two links often leave the player's key for a while: they are best read under the signature that
holds them, from which their leading tones then stand out (common practice; the line of fifths as
in Temperley 2001).

Conventions: signatures in fifths, sharps positive; accidentals as rows of seven, C first; notes as
(letter, accidental).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from livecont.music.key import Key
from livecont.music.pitch import LETTER_FIFTHS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
# signatures tried: those in use and a little beyond, for passing keys
SIGNATURES = tuple(range(-9, 10))
# a letter of the later link that a signature does not hold costs 1, one of the first link half:
# sequences leave their first key; each fifth away from the player's key costs this [fit]
FIRST_LINK = 0.5
FIFTH_AWAY = 0.7
# of two equally good signatures the nearer to the player's key
NEARER = 1e-3
# how much less likely a signature is for each unit of cost, in nats [fit]; those less likely than
# this beside the likeliest are not looked at, nor more than so many
PER_COST = 2.0
LEAST_LIKELY = 0.05
MOST_HOMES = 3


def signature(fifths: int) -> tuple[int, ...]:
    """Return the accidental of each letter under a key signature.

    >>> signature(-1)
    (0, 0, 0, 0, 0, 0, -1)
    """
    return tuple((fifths - f + 5) // 7 for f in LETTER_FIFTHS)


def homes_of(
    one: set[tuple[int, int]], two: set[tuple[int, int]], key: Key
) -> tuple[tuple[int, float], ...]:
    """Return the signatures that may hold the notes of the two links, likeliest first.

    Each comes with its weight, that of the likeliest being 1.
    """
    away = np.abs(np.array(SIGNATURES) - key.fifths)
    cost = (FIFTH_AWAY + NEARER) * away
    table = _signatures()
    for weight, notes in ((FIRST_LINK, one), (1.0, two)):
        for letter, alter in notes:
            cost = cost + weight * (table[:, letter] != alter)
    weights = np.exp(-PER_COST * (cost - cost.min()))
    order = np.argsort(cost, kind="stable")
    likely = [i for i in order if weights[i] >= LEAST_LIKELY][:MOST_HOMES]
    return tuple((SIGNATURES[i], float(weights[i])) for i in likely)


def outside(alters: Ints, letters: Ints) -> Floats:
    """Return how many notes of each choice lie outside the scale that holds the choice best.

    Args:
        alters: accidentals, shape (choices, roles).
        letters: the letter of each role; roles of one letter and accidental count once.
    """
    wrong = alters[:, np.newaxis, :] != _scales()[:, letters][np.newaxis, :, :]
    new = np.ones(alters.shape, dtype=bool)
    for role in range(1, len(letters)):
        for earlier in np.flatnonzero(letters[:role] == letters[role]):
            new[:, role] &= alters[:, role] != alters[:, earlier]
    fewest: Floats = (wrong & new[:, np.newaxis, :]).sum(axis=2).min(axis=1).astype(np.float64)
    return fewest


@lru_cache(maxsize=1)
def _signatures() -> Ints:
    return np.array([signature(fifths) for fifths in SIGNATURES], dtype=np.int64)


@lru_cache(maxsize=1)
def _scales() -> Ints:
    """Every diatonic scale, each with the harmonic and the melodic minor of its signature."""
    rows = []
    for fifths in SIGNATURES:
        natural = signature(fifths)
        scale = list(natural)
        rows.append(tuple(scale))
        for raised in (fifths + 1, fifths - 1):  # the minor's 7th, then its 6th too
            scale[
                [f + 7 * a for f, a in zip(LETTER_FIFTHS, natural, strict=True)].index(raised)
            ] += 1
            rows.append(tuple(scale))
    return np.array(rows, dtype=np.int64)
