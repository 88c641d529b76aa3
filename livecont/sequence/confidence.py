"""How sure it is that a standing alignment is a sequence.

Two logistic models of few features. `likelihood_of` looks at the alignment alone and costs nothing:
it decides whether to look closer. `confidence_of` looks at the notes of the two links, paired one
to one. Both were fitted on the development cases as played and on the free time of the full
performances; the benchmark prints the reliability of the second.
"""

from __future__ import annotations

import math

from livecont.music.key import Key
from livecont.sequence.alignment import Alignment
from livecont.sequence.pattern import Position

# [fit] on the development cases as played and the free time of the full performances
INTERCEPT = -6.5
PER_FIT = 6.1
PER_LOG_GAIN = 2.0
PER_LOG_LAG = -1.1


def likelihood_of(alignment: Alignment) -> float:
    """Return the estimated probability, 0..1, that a musician would call this a sequence.

    It grows with the fit of the newest link, and with what it gained: long links that fit say more
    than short ones, but not in proportion to their length.
    """
    score = (
        INTERCEPT
        + PER_FIT * alignment.fit
        + PER_LOG_GAIN * math.log(max(alignment.gain, 1.0))
        + PER_LOG_LAG * math.log(alignment.lag)
    )
    return 1 / (1 + math.exp(-score))


LEAST_PAIRS = 4  # fewer notes that have their image are no link [trade]
PAIRS_INTERCEPT = -9.4
PER_F1 = 12.1
PER_LOG_PAIRS = 0.5
PER_RESPELLED = -8.0


def confidence_of(positions: tuple[Position, ...], key: Key) -> float:
    """Return the estimated probability, 0..1, from the two latest links' notes.

    It grows with the share of notes that have their image (F1), and falls with the share that has
    to be spelled unusually in the key to have it.
    """
    pairs = [
        (a, b)
        for position in positions
        for a, b in (position.heard[-2:],)
        if a is not None and b is not None
    ]
    if len(pairs) < LEAST_PAIRS:
        return 0.0
    f1 = 2 * len(pairs) / (len(pairs) + len(positions))
    respelled = sum(note != key.spell(note.midi) for pair in pairs for note in pair)
    score = (
        PAIRS_INTERCEPT
        + PER_F1 * f1
        + PER_LOG_PAIRS * math.log(len(pairs))
        + PER_RESPELLED * respelled / (2 * len(pairs))
    )
    return 1 / (1 + math.exp(-score))
