"""When the next link is due, and how long it is, from the timing of the links heard.

Conventions: seconds on the caller's clock. A link's start is the onset of its earliest note.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from livecont.sequence.alignment import BREATH_S, Alignment, lag_seconds
from livecont.sequence.groups import Groups
from livecont.sequence.lags import EXTRA, LagTable

# how much the latest lag says of the next one, beside the mean over the link [fit]
LATEST_SHARE = 0.8
# onsets so little before a link's start still belong to it
EARLY_S = 0.04
# a link begins the playing where it starts so near to it, after a silence of a link or a breath
BEGIN_UNITS = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Starts of the two latest links and of the next; `unit_s` is the next link's length."""

    start_s: float
    later_start_s: float
    due_s: float

    @property
    def earlier_unit_s(self) -> float:
        """Length of the earlier link."""
        return self.later_start_s - self.start_s

    @property
    def unit_s(self) -> float:
        """Length of the later link, taken for the next one's too."""
        return self.due_s - self.later_start_s


def first_early(alignment: Alignment, start_s: float, groups: Groups) -> int:
    """Return the earlier link's first group: the partner of the later one's, or by time."""
    path, entry = alignment.path, alignment.lag - 1
    if entry < len(path) and path.moves[entry] != EXTRA:
        return max(path.early(entry), groups.first)
    number = alignment.first_late
    while number > groups.first and groups[number - 1].onset_s >= start_s - EARLY_S:
        number -= 1
    return number


def begins_playing(alignment: Alignment, timing: Timing, groups: Groups) -> bool:
    """Whether the earlier link is where the player began, after a silence or at all."""
    first = first_early(alignment, timing.start_s, groups)
    if abs(groups[first].onset_s - timing.start_s) > BEGIN_UNITS * timing.unit_s:
        return False
    if first == groups.first:
        return groups.first == 0
    silence_s = groups[first].onset_s - groups[first - 1].onset_s
    return silence_s > max(BREATH_S, timing.unit_s)


def timing_of(alignment: Alignment, table: LagTable) -> Timing | None:
    """Return the timing of an alignment; None where nothing in it tells the lag."""
    lags_s = lag_seconds(alignment, table)
    if not len(lags_s):
        return None
    later_start_s = float(table.onsets_s(np.array([alignment.first_late]))[0])
    coming_s = LATEST_SHARE * float(lags_s[-1]) + (1 - LATEST_SHARE) * float(lags_s.mean())
    return Timing(
        start_s=later_start_s - float(lags_s[0]),
        later_start_s=later_start_s,
        due_s=later_start_s + coming_s,
    )
