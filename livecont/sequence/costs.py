"""Every parameter of the hearing model, in one place, with its origin.

The model is a log-likelihood ratio: how much likelier is what was heard if the last link is the one
before it, moved by a step, than if the two have nothing to do with each other. Origins: [fit]
fitted on one half of the development cases (split by work), checked on the other half; [lit] from
the source named; [trade] common practice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """Parameters of grouping, matching and timing. Units: seconds, notes, nats."""

    # onsets within this time of the first are one chord: melody leads by some 30 ms
    # (Goebl 2001) [lit]
    chord_s: float = 0.035
    # groups closer than this may be one chord that the hands struck apart: above it the order of
    # two onsets is nearly always heard (60 ms), with a margin for the hand [fit]
    spread_s: float = 0.08
    # a note matched by its image: ln(0.9 / 0.12), the chance of a random note to fit [fit]
    match: float = 2.0
    # a note without image, each side: half of ln(0.1 / 0.88) [fit]
    unmatched: float = 1.1
    # the step of a note told by another than its usual spelling [trade]
    respelled: float = 0.8
    # a group that one link has more than the other, besides its notes
    uneven: float = 0.2
    # timing: the lag may drift by so much per step, seconds and share of the interval [fit]
    drift_s: float = 0.022
    drift_share: float = 0.12
    rhythm_gain: float = 0.3
    rhythm_loss: float = 2.5
    # an alignment that changes its lag by a group keeps at most this much of its past, so that a
    # long past can't pull a new sequence out of place [fit]
    kept_past: float = 14.0
    # longest lag, in groups of onsets and in seconds (two bars of slow 4/4)
    longest_groups: int = 104
    longest_s: float = 12.0
    # the widest step of a sequence: a fifth up or down [trade]
    widest_step: int = 4


COSTS = Costs()
