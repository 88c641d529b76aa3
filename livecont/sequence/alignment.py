"""Which of the standing alignments is the sequence a musician would hear.

Several lags and steps fit at any moment: a short figure lies inside a long link, and twice the
unit fits wherever the unit does. Of those that fit well enough the shortest is taken, unless a
longer one explains notably more of what was played last.

Conventions: `gain` is in nats over the newest link alone; `fit` is that gain as a share of the gain
of a link where every note has its image, about 1 for a perfect copy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from livecont.sequence.costs import Costs
from livecont.sequence.groups import Groups
from livecont.sequence.lags import EXTRA, Cell, LagTable

# at most so many are looked at closely, the best first, to bound the cost per note
CLOSELY = 8
LEAST_GAIN = 3.0
LEAST_FIT = 0.45
LEAST_NOTES = 4  # in a link: fewer are no link [trade]
LEAST_GROUPS = 2
# a longer unit must gain so much more than a shorter one, in nats and as a share of its own [fit]
LONGER_GAINS = 2.0
LONGER_SHARE = 0.08
# lags of the same step that differ by so few groups are readings of one alignment
ONE_PATH = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """A lag and a step that fit up to the newest group.

    The newest link is the groups `last_late - lag + 1 .. last_late`. `begun` is the share of it,
    in groups, that lies after the alignment's beginning: 1 when two whole links have been heard.
    `links` counts the links heard (2.0 = two whole links).
    """

    lag: int
    step_degrees: int
    score: float
    gain: float
    fit: float
    begun: float
    links: float
    notes: int
    cells: tuple[Cell, ...]

    @property
    def last_late(self) -> int:
        """The newest group."""
        return self.cells[0].late

    @property
    def first_late(self) -> int:
        """The newest link's first group."""
        return self.last_late - self.lag + 1


def standing_alignments(table: LagTable, groups: Groups, costs: Costs) -> tuple[Alignment, ...]:
    """Return the alignments that fit the newest link well, shortest lag first."""
    newest = table.count - 1
    score, gained = table.standing()
    useful = (score > LEAST_GAIN) & (gained > LEAST_GAIN)
    useful[:LEAST_GROUPS] = False
    useful[newest + 1 :] = False
    lags, columns = np.nonzero(useful)
    if not len(lags):
        return ()
    best = np.argsort(-gained[lags, columns], kind="stable")[:CLOSELY]
    found = []
    sizes = _note_counts(groups, newest, int(lags[best].max()))
    for lag, column in zip(lags[best].tolist(), columns[best].tolist(), strict=True):
        standing = float(score[lag, column])
        alignment = _closely(table, sizes, costs, lag=lag, column=column, score=standing)
        if alignment is not None:
            found.append(alignment)
    return tuple(sorted(found, key=lambda a: (a.lag, -a.gain)))


def _note_counts(groups: Groups, newest: int, reach: int) -> dict[int, int]:
    """Different pitches in each of the newest `reach` groups, by number."""
    first = max(groups.first, newest - reach)
    return {number: len(groups[number].pitches) for number in range(first, newest + 1)}


def _closely(
    table: LagTable,
    sizes: dict[int, int],
    costs: Costs,
    *,
    lag: int,
    column: int,
    score: float,
) -> Alignment | None:
    newest = table.count - 1
    first_late = newest - lag + 1
    notes = sum(sizes.get(number, 0) for number in range(first_late, newest + 1))
    if notes < LEAST_NOTES:
        return None
    cells = table.trace(lag, column, newest - table.longest)
    gain = newest_gain(cells, sizes, first_late, costs)
    fit = gain / (costs.match * notes)
    if fit < LEAST_FIT:
        return None
    start = cells[-1].late
    return Alignment(
        lag=lag,
        step_degrees=column - costs.widest_step,
        score=score,
        gain=gain,
        fit=fit,
        begun=min(1.0, (newest - start + 1) / lag),
        links=1 + (newest - start + 1) / lag,
        notes=notes,
        cells=cells,
    )


def newest_gain(
    cells: tuple[Cell, ...], sizes: dict[int, int], first_late: int, costs: Costs
) -> float:
    """Return what an alignment gained from group `first_late` on.

    Notes from there to its beginning have no image: they cost as unmatched on both sides.
    """
    start = cells[-1].late
    missed = sum(sizes.get(number, 0) for number in range(first_late, start))
    gained = sum(cell.gain for cell in cells if cell.late >= first_late)
    return gained - 2 * costs.unmatched * missed


def musicians_choice(
    alignments: tuple[Alignment, ...], groups: Groups, costs: Costs
) -> Alignment | None:
    """Return the alignment that a musician would take for the sequence; None where none fits."""
    chosen: Alignment | None = None
    if not alignments:
        return None
    newest = alignments[0].last_late
    sizes = _note_counts(groups, newest, max(a.lag for a in alignments))
    for alignment in alignments:
        if chosen is None:
            chosen = alignment
            continue
        if _one_path(chosen, alignment):
            chosen = max(chosen, alignment, key=lambda a: sum(cell.gain for cell in a.cells))
            continue
        short = newest_gain(chosen.cells, sizes, alignment.first_late, costs)
        if alignment.gain - short > LONGER_GAINS + LONGER_SHARE * alignment.gain:
            chosen = alignment
    return chosen if chosen is None or chosen.step_degrees else None


def _one_path(one: Alignment, other: Alignment) -> bool:
    """Whether two alignments are one, but for how many groups the newest link has at its end."""
    return one.step_degrees == other.step_degrees and abs(one.lag - other.lag) <= ONE_PATH


def lag_seconds(alignment: Alignment, groups: Groups) -> tuple[tuple[int, float], ...]:
    """Return (later group, lag in seconds) where both sides advance in the newest link.

    Oldest first; empty only if every cell is an extra group.
    """
    return tuple(
        (cell.late, groups[cell.late].onset_s - groups[cell.early].onset_s)
        for cell in reversed(alignment.cells)
        if cell.late >= alignment.first_late and cell.move != EXTRA and cell.early >= groups.first
    )
