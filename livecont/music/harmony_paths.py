"""The best ways to cut a link into harmonies: dynamic programming over stretches.

Conventions: as in `harmony_features`. A way is a first boundary and, for each harmony, its root and
how many spans it covers; together they cover the link once, whatever the boundary that it starts
from. Every way of at most `MOST` harmonies is weighed.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from livecont.music.harmony_features import PLACES, Floats
from livecont.music.label import least_rotation

MOST = 6
BEAM = 40  # root successions that are followed on from each boundary


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A way to cut the link: boundaries (indices), roots, merit."""

    merit: float
    bounds: tuple[int, ...]
    roots: tuple[int, ...]


def ways(merit: Floats, motion: tuple[float, ...], step: int) -> tuple[Way, ...]:
    """Return the best way of each cycle of roots, best first.

    Args:
        merit: of each stretch and root, shape (n, n, 7).
        motion: what a motion of the root by 0..6 places up is worth.
        step: places from link to link.
    """
    n = len(merit)
    best: dict[tuple[int, ...], tuple[float, tuple[int, ...], int]] = {}
    for first in range(n):
        for roots, total in _from(merit, motion, step, first):
            moved = least_rotation([b - a for a, b in pairwise((*roots, roots[0] + step))])
            known = best.get(moved)
            if known is None or total > known[0]:
                best[moved] = (total, roots, first)
    ranked = sorted(best.values(), reverse=True)
    return tuple(
        Way(merit=total, bounds=_bounds(merit, roots, first, step), roots=roots)
        for total, roots, first in ranked[:BEAM]
    )


def _from(
    merit: Floats, motion: tuple[float, ...], step: int, first: int
) -> list[tuple[tuple[int, ...], float]]:
    """Return root successions that start at a boundary, with their merit."""
    table = _stretches(merit, first, step)
    n = len(merit)
    found: list[tuple[tuple[int, ...], float]] = []
    successions: list[tuple[int, ...]] = [(root,) for root in range(PLACES)]
    reached = table[0].T.copy()  # [succession, end]: best merit up to each end
    worth = np.array(motion)
    for count in range(1, min(MOST, n) + 1):
        for roots, row in zip(successions, reached, strict=True):
            last = (roots[0] + step - roots[-1]) % PLACES
            if last or count == 1:
                found.append((roots, float(row[n] + worth[last])))
        if count == min(MOST, n):
            break
        successions, reached = _further(successions, reached, table, worth)
    return found


def _further(
    successions: list[tuple[int, ...]], reached: Floats, table: Floats, worth: Floats
) -> tuple[list[tuple[int, ...]], Floats]:
    """Add one harmony to each succession; keep those that are best."""
    # [succession, end, root]: over all places where the last harmony may have ended
    longer = (reached[:, :, None, None] + table[None]).max(axis=1)
    roots: list[tuple[int, ...]] = []
    rows = []
    for i, succession in enumerate(successions):
        for root in range(PLACES):
            if root != succession[-1]:
                roots.append((*succession, root))
                rows.append(longer[i, :, root] + worth[(root - succession[-1]) % PLACES])
    grid = np.array(rows)
    keep = np.argsort(-grid.max(axis=1), kind="stable")[:BEAM]
    return [roots[i] for i in keep], grid[keep]


def _stretches(merit: Floats, first: int, step: int) -> Floats:
    """Merit by start and end counted from a first boundary, shape (n + 1, n + 1, 7).

    What begins past the link's end has its roots a step on.
    """
    n = len(merit)
    table = np.full((n + 1, n + 1, PLACES), -1e9)
    further = np.roll(merit, step, axis=2)
    for start in range(n):
        at = first + start
        row = merit[at] if at < n else further[at - n]
        table[start, start + 1 :] = row[: n - start]
    return table


def _bounds(merit: Floats, roots: tuple[int, ...], first: int, step: int) -> tuple[int, ...]:
    """Return the boundaries where each harmony of a succession begins, from `first` on."""
    n = len(merit)
    table = _stretches(merit, first, step)
    reached = np.full((len(roots) + 1, n + 1), -1e9)
    reached[0, 0] = 0.0
    back = np.zeros((len(roots) + 1, n + 1), dtype=int)
    for k, root in enumerate(roots, 1):
        options = reached[k - 1][:, None] + table[:, :, root]
        back[k] = options.argmax(axis=0)
        reached[k] = options.max(axis=0)
    ends = [n]
    for k in range(len(roots), 0, -1):
        ends.append(int(back[k, ends[-1]]))
    return tuple(first + at for at in reversed(ends[1:]))
