"""How sure it is that a standing alignment is a sequence.

A logistic model of few features, fitted on one half of the development cases and plays (split by
work); the benchmark prints its reliability table.
"""

from __future__ import annotations

import math

from livecont.sequence.alignment import Alignment

# [fit] on the development cases as played and the free time of the full performances
INTERCEPT = -6.5
PER_FIT = 6.1
PER_LOG_GAIN = 2.0
PER_LOG_LAG = -1.1


def confidence_of(alignment: Alignment) -> float:
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
