"""How sure it is that a standing alignment is a sequence.

A logistic model of few features, fitted on one half of the development cases and plays (split by
work); the benchmark prints its reliability table.
"""

from __future__ import annotations

import math

from livecont.sequence.alignment import Alignment
from livecont.sequence.tempo import Timing

INTERCEPT = -6.0
PER_FIT = 7.0
PER_GAIN = 0.12
MOST_GAIN = 20.0


def confidence_of(alignment: Alignment, timing: Timing) -> float:
    """Return the estimated probability, 0..1, that a musician would call this a sequence."""
    del timing
    score = INTERCEPT + PER_FIT * alignment.fit + PER_GAIN * min(alignment.gain, MOST_GAIN)
    return 1 / (1 + math.exp(-score))
