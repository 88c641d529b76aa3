"""The best ways to cut a link into harmonies: dynamic programming over stretches.

Conventions: as in `harmony_features`. A way is a first boundary and, for each harmony, its root and
where it begins; together they cover the link once, whatever the boundary that they start from. Of
ways with the same cycle of root motions, wherever it begins, the best is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from livecont.music.harmony_features import PLACES, Floats

Ints = NDArray[np.int64]

MOST = 6
BEAM = 32  # root successions that are followed on from each boundary
NEVER = -1e9
MOST_WAYS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A way to cut the link: boundaries (indices, from n on in the next link), roots, merit."""

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
    best: dict[tuple[int, int], tuple[float, tuple[int, ...], int]] = {}
    for first in range(len(merit)):
        for roots, totals in _from(merit, motion, step, first):
            order = np.argsort(-totals, kind="stable")
            codes, at = np.unique(_cycles(roots[order], step), return_index=True)
            for code, i in zip(codes.tolist(), order[at].tolist(), strict=True):
                cycle, total = (roots.shape[1], code), float(totals[i])
                if cycle not in best or total > best[cycle][0]:
                    best[cycle] = (total, tuple(roots[i].tolist()), first)
    ranked = sorted(best.values(), reverse=True)[:MOST_WAYS]
    return tuple(
        Way(merit=total, bounds=_bounds(merit, roots, first, step), roots=roots)
        for total, roots, first in ranked
    )


def _cycles(roots: Ints, step: int) -> Ints:
    """Return a number for the cycle of motions of each succession: the least of its rotations."""
    motions = np.diff(roots, axis=1, append=roots[:, :1] + step) % PLACES
    weights = PLACES ** np.arange(roots.shape[1])
    turned = [np.roll(motions, k, axis=1) @ weights for k in range(roots.shape[1])]
    result: Ints = np.min(turned, axis=0)
    return result


def _from(
    merit: Floats, motion: tuple[float, ...], step: int, first: int
) -> list[tuple[Ints, Floats]]:
    """Return root successions that start at a boundary, those of one length together.

    Successions come as [succession, harmony], with the merit of each.
    """
    table = _stretches(merit, first, step)
    n = len(merit)
    worth = np.array(motion)
    found = []
    roots: Ints = np.arange(PLACES)[:, None]
    reached: Floats = table[0].T  # [succession, end]: best merit up to each end
    for count in range(1, min(MOST, n) + 1):
        closing = (roots[:, 0] + step - roots[:, -1]) % PLACES
        total = reached[:, n] + worth[closing]
        # the next link does not begin with the same harmony
        total = np.where((closing == 0) & (count > 1), NEVER, total)
        found.append((roots, total))
        if count < min(MOST, n):
            roots, reached = _further(roots, reached, table, worth)
    return found


def _further(roots: Ints, reached: Floats, table: Floats, worth: Floats) -> tuple[Ints, Floats]:
    """Add one harmony to each succession; keep those that are best."""
    # [succession, end, root]: over all places where the last harmony may have ended
    longer = (reached[:, :, None, None] + table[None]).max(axis=1)
    moved = (np.arange(PLACES)[None, :] - roots[:, -1:]) % PLACES
    value = longer.transpose(0, 2, 1) + np.where(moved == 0, NEVER, worth[moved])[:, :, None]
    flat = value.reshape(-1, value.shape[2])
    keep = np.argsort(-flat.max(axis=1), kind="stable")[:BEAM]
    before, new = np.divmod(keep, PLACES)
    return np.concatenate([roots[before], new[:, None]], axis=1), flat[keep]


def _stretches(merit: Floats, first: int, step: int) -> Floats:
    """Merit by start and end counted from a first boundary, shape (n + 1, n + 1, 7).

    What begins past the link's end has its roots a step on.
    """
    n = len(merit)
    table = np.full((n + 1, n + 1, PLACES), NEVER)
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
    reached = np.full((len(roots) + 1, n + 1), NEVER)
    reached[0, 0] = 0.0
    back = np.zeros((len(roots) + 1, n + 1), dtype=np.int64)
    for k, root in enumerate(roots, 1):
        options = reached[k - 1][:, None] + table[:, :, root]
        back[k] = options.argmax(axis=0)
        reached[k] = options.max(axis=0)
    ends = [n]
    for k in range(len(roots), 0, -1):
        ends.append(int(back[k, ends[-1]]))
    return tuple(first + at for at in reversed(ends[1:]))
