"""Which link is meant at this moment, and how far it is. Values out of a snapshot, nothing else.

Conventions: as in `sitting.snapshot`. While the next link waits, the sitting may already name it as
sounding or leave it at the head of the coming ones; both are read here.
"""

from __future__ import annotations

from livecont.sequence.pattern import Link
from livecont.sitting.snapshot import Phase, Snapshot


def link_now(snapshot: Snapshot) -> Link | None:
    """Return the link that sounds or waits to; None while only the player plays."""
    if snapshot.sounding is not None:
        return snapshot.sounding
    if snapshot.phase is not Phase.READY or snapshot.pattern is None or not snapshot.coming:
        return None
    first = snapshot.coming[0]
    # once it is with the sounding side the next link is no longer among the coming ones
    return first if first.number == snapshot.pattern.links_heard + 1 else None


def progress(snapshot: Snapshot) -> float | None:
    """Return which share of the sounding link is over, 0..1; None where none sounds."""
    if snapshot.phase is not Phase.SOUNDING or snapshot.sounding is None:
        return None
    if snapshot.sounding_start_s is None or not snapshot.sounding.unit_s > 0:
        return None
    share = (snapshot.at_s - snapshot.sounding_start_s) / snapshot.sounding.unit_s
    return min(1.0, max(0.0, share))


def due_in_s(snapshot: Snapshot) -> float | None:
    """Return in how many seconds the next link is due; negative where that has passed."""
    if snapshot.sounding_start_s is not None:
        return snapshot.sounding_start_s - snapshot.at_s
    return None if snapshot.pattern is None else snapshot.pattern.due_s - snapshot.at_s
