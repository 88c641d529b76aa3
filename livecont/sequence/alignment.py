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
from numpy.typing import NDArray

from livecont.sequence.costs import Costs
from livecont.sequence.lags import EXTRA, Floats, LagTable, Path

# at most so many are looked at closely, the best first, to bound the cost per note
CLOSELY = 8
LEAST_GAIN = 3.0
LEAST_FIT = 0.45
# before looking closely, by a rough reckoning
ROUGH_FIT = 0.3
LEAST_NOTES = 4  # in a link: fewer are no link [trade]
LEAST_GROUPS = 2
# a longer unit must gain so much more than a shorter one, in nats and as a share of its own [fit]
LONGER_GAINS = 2.0
LONGER_SHARE = 0.08
# two whole links that fit so well are not given up for longer ones not yet whole [fit]
WHOLE_FIT = 0.7
# and must not fit so much worse: it would explain the music before the sequence, not the sequence
# [fit: 0.3 and 0.35 do alike]
WORSE_FIT = 0.3
# a pause so long is a breath, in which a phrase has ended; longer, where links are longer [trade]
BREATH_S = 1.0
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
    gain: float
    fit: float
    begun: float
    links: float
    notes: int
    path: Path

    @property
    def last_late(self) -> int:
        """The newest group."""
        return self.path.newest

    @property
    def first_late(self) -> int:
        """The newest link's first group."""
        return self.last_late - self.lag + 1


def standing_alignments(table: LagTable, costs: Costs) -> tuple[Alignment, ...]:
    """Return the alignments that fit the newest link well, shortest lag first."""
    newest = table.count - 1
    reach = min(newest, table.longest)
    if reach < LEAST_GROUPS:
        return ()
    score, gained = table.standing()
    straight = table.standing_straight()
    is_straight = straight > gained
    gained, score = np.maximum(gained, straight), np.maximum(score, straight)
    notes = np.cumsum(table.sizes(table.longest))  # notes[k - 1]: in the newest k groups
    least = np.full(len(score), np.inf, np.float32)
    link_notes = notes[LEAST_GROUPS - 1 : reach]
    least[LEAST_GROUPS : reach + 1] = np.where(
        link_notes < LEAST_NOTES,
        np.inf,
        np.maximum(LEAST_GAIN, costs.match * ROUGH_FIT * link_notes),
    )
    lags, columns = np.nonzero((gained > least[:, np.newaxis]) & (score > LEAST_GAIN))
    if not len(lags):
        return ()
    best = np.argsort(-gained[lags, columns], kind="stable")[:CLOSELY]
    longest = int(lags[best].max())
    found = []
    for lag, column in zip(lags[best].tolist(), columns[best].tolist(), strict=True):
        if is_straight[lag, column]:
            start_late, path = table.trace_straight(lag, column)
        else:
            start_late, path = table.start_late(lag, column), table.trace(lag, column, longest)
        alignment = _closely(path, start_late, notes, costs, lag=lag, column=column)
        if alignment is not None:
            found.append(alignment)
    return tuple(sorted(found, key=lambda a: (a.lag, -a.gain)))


def _closely(
    path: Path, start_late: int, notes: Floats, costs: Costs, *, lag: int, column: int
) -> Alignment | None:
    gain = newest_gain(path, notes, lag, costs)
    link_notes = int(notes[lag - 1])
    fit = gain / (costs.match * link_notes)
    if fit < LEAST_FIT:
        return None
    heard = path.newest - start_late + 1
    return Alignment(
        lag=lag,
        step_degrees=column - costs.widest_step,
        gain=gain,
        fit=fit,
        begun=min(1.0, heard / lag),
        links=1 + heard / lag,
        notes=link_notes,
        path=path,
    )


def newest_gain(path: Path, notes: Floats, groups: int, costs: Costs) -> float:
    """Return what an alignment gained over the newest `groups` groups.

    Notes of theirs from before it began have no image: they cost as unmatched on both sides.
    `notes[k - 1]` is the number of notes in the newest k groups.
    """
    within = min(groups, len(path))
    missed = float(notes[min(groups, len(notes)) - 1] - notes[within - 1])
    return float(path.gained[within]) - 2 * costs.unmatched * missed


def musicians_choice(
    alignments: tuple[Alignment, ...], table: LagTable, costs: Costs
) -> Alignment | None:
    """Return the alignment that a musician would take for the sequence; None where none fits."""
    chosen: Alignment | None = None
    notes = np.cumsum(table.sizes(table.longest))
    for alignment in alignments:
        if chosen is None:
            chosen = alignment
        elif _one_path(chosen, alignment):
            chosen = max(chosen, alignment, key=lambda a: float(a.path.gained[-1]))
        else:
            if _is_whole(chosen) and not _may_be_whole(alignment):
                continue
            if alignment.fit <= chosen.fit - WORSE_FIT:
                continue
            if _is_whole(chosen) and _reaches_over_a_breath(alignment, chosen, table):
                continue
            short = newest_gain(chosen.path, notes, alignment.lag, costs)
            if alignment.gain - short > LONGER_GAINS + LONGER_SHARE * alignment.gain:
                chosen = alignment
    return chosen if chosen is None or chosen.step_degrees else None


def _is_whole(alignment: Alignment) -> bool:
    return alignment.begun >= 1 and alignment.fit >= WHOLE_FIT


def _may_be_whole(alignment: Alignment) -> bool:
    """Whether two links have been heard: to the note, or from where the playing began."""
    return alignment.begun >= 1 or alignment.last_late <= 2 * alignment.lag


def _reaches_over_a_breath(longer: Alignment, shorter: Alignment, table: LagTable) -> bool:
    """Whether the longer unit holds, or follows, a silence: a breath, as long as the shorter link.

    Who pauses and plays his two links once more has not played one link of twice the length.
    """
    onsets_s = table.onsets_s(np.arange(longer.first_late - 1, longer.last_late + 1))
    lags_s = lag_seconds(shorter, table)
    link_s = float(lags_s[-1]) if len(lags_s) else 0.0
    return bool(np.diff(onsets_s).max(initial=0.0) > max(BREATH_S, link_s))


def _one_path(one: Alignment, other: Alignment) -> bool:
    """Whether two alignments are one, but for how many groups the newest link has at its end."""
    return one.step_degrees == other.step_degrees and abs(one.lag - other.lag) <= ONE_PATH


def lag_seconds(alignment: Alignment, table: LagTable) -> NDArray[np.float64]:
    """Return the lags in seconds where both sides advance in the newest link, oldest first.

    Empty only if every entry is an extra group.
    """
    path = alignment.path
    entries = min(alignment.lag, len(path))
    late = path.newest - np.arange(entries)
    both = path.moves[:entries] != EXTRA
    late, early = late[both], (late - path.lags[:entries])[both]
    lags: NDArray[np.float64] = (table.onsets_s(late) - table.onsets_s(early))[::-1]
    return lags
