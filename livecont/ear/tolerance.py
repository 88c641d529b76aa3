"""What a listener hears and a teacher forgives: the limits that answers are judged by.

A note off the pulse is heard from 2.5 % of the time between notes on, 6 ms at least (just
noticeable in a pulse of 100 to 1000 ms: Friberg & Sundberg 1995). That is for a machine's pulse and
an attentive listener: nobody plays so evenly. So what is told begins at a multiple of it, and what
is wrong only where a rhythm becomes another one: where a time between two chords is nearer to what
other note values would make of it. The multiple and the proportion were chosen by how pianists
play (`python -m tests.bench judging`).

Conventions: seconds, shares of a time between two chords.
"""

from __future__ import annotations

from dataclasses import dataclass

NOTICEABLE_SHARE = 0.025  # Friberg & Sundberg 1995
NOTICEABLE_LEAST_S = 0.006


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """The limits.

    `told` is how many times the just noticeable difference is told. `other_rhythm` is the factor by
    which a time between two chords, in the player's own tempo, is another note value;
    `least_off_s` leaves times alone that are off by less. `ornament_semitones` and `before_s` say
    how near in pitch and how long before a right note a forgiven note lies; `brushed_s` and
    `brushed_velocity` (a share of the usual one) what a brushed key is.
    """

    told: float = 4.0
    other_rhythm: float = 1.6
    least_off_s: float = 0.08
    ornament_semitones: int = 2
    before_s: float = 0.15
    return_s: float = 0.5
    brushed_s: float = 0.1
    brushed_velocity: float = 0.5

    def noticeable_s(self, apart_s: float) -> float:
        """Return the least difference that is heard in a time between notes."""
        return max(NOTICEABLE_LEAST_S, NOTICEABLE_SHARE * apart_s)


TOLERANCE = Tolerance()
