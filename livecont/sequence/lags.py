"""The running comparison of what is played with what was played one lag earlier.

For every lag (counted in groups of onsets) and every step it keeps the best alignment that ends at
the newest group: a local alignment by dynamic programming, one row a group, so the cost per note is
linear in the longest lag and independent of what was played before. Alignment goes by the order of
onsets, which stands rubato better than seconds do; time enters as the drift of the lag.

Conventions: groups are numbered from 0 as they come; `lag` k compares group n with n - k; columns
of tables are steps -widest..widest. Scores are log-likelihood ratios in nats (`sequence.costs`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from livecont.sequence.costs import Costs

Floats = NDArray[np.float32]
Ints = NDArray[np.int32]

# moves of the alignment, from the row before: both sides advance; the earlier link skips one or
# two groups; the later link has a group more; or the alignment begins here
BOTH, SKIP_ONE, SKIP_TWO, EXTRA, BEGIN = range(5)
# where the lag lay in the row before, as seen from the row after
_LAG_BEFORE = {BOTH: 0, SKIP_ONE: 1, SKIP_TWO: 2, EXTRA: -1}
_MARGIN = 3  # rows are so much longer than the longest lag, for the moves that skip
_NEVER = np.float32(-1e9)


class Cell(NamedTuple):
    """One step of an alignment: two groups, the move that led here, what it gained (nats)."""

    late: int
    early: int
    move: int
    gain: float


@dataclass(slots=True)
class _Row:
    """The state of every (lag, step) at one group: arrays of shape (lags, steps)."""

    score: Floats
    drift_lag: Floats  # the lag in seconds when both sides last advanced
    start_late: Ints  # first group of the later side, -1 where nothing is aligned


def _empty_row(lags: int, steps: int) -> _Row:
    return _Row(
        np.zeros((lags, steps), np.float32),
        np.zeros((lags, steps), np.float32),
        np.full((lags, steps), -1, np.int32),
    )


class LagTable:
    """Best alignments of the newest group with every earlier one; see the module's text.

    The newest group may grow (a chord is struck note by note): `replace_newest` computes its row
    again from the row before.
    """

    def __init__(self, costs: Costs, table: Floats) -> None:
        self._costs = costs
        self._table = table
        self.longest = costs.longest_groups
        self.steps = 2 * costs.widest_step + 1
        lags = self.longest + _MARGIN
        self._capacity = 4 * lags
        self._played = np.zeros((self._capacity, 128), np.float32)
        self._onset_s = np.zeros(self._capacity, np.float64)
        self._size = np.zeros(self._capacity, np.float32)
        self._first = 0  # number of the group kept at index 0
        self.count = 0  # groups so far
        self._before = _empty_row(lags, self.steps)
        self._row = _empty_row(lags, self.steps)
        self._history = 2 * lags
        self._moves = np.full((self._history, lags, self.steps), BEGIN, np.uint8)
        self._gains = np.zeros((self._history, lags, self.steps), np.float32)
        self._scores = np.zeros((self._history, lags, self.steps), np.float32)

    def use_table(self, table: Floats) -> None:
        """Compare by another affinity table from the next group on (the key changed)."""
        self._table = table

    def add(self, onset_s: float, pitches: tuple[int, ...]) -> None:
        """Begin a new group. Cost: a few numpy operations on (longest, steps)."""
        if self.count - self._first == self._capacity:
            self._slide()
        self.count += 1
        self._before, self._row = self._row, self._before
        self.replace_newest(onset_s, pitches)

    def replace_newest(self, onset_s: float, pitches: tuple[int, ...]) -> None:
        """The newest group has grown."""
        at = self.count - 1 - self._first
        self._played[at] = 0.0
        self._played[at, list(pitches)] = 1.0
        self._onset_s[at] = onset_s
        self._size[at] = len(pitches)
        self._advance(at, pitches)

    def standing(self) -> tuple[Floats, Floats]:
        """Return two arrays (lags, steps) for the newest group.

        The score of each alignment, and how much of it was gained within the newest lag alone.
        """
        newest = self.count - 1
        lags = np.arange(1, min(newest, self.longest) + 1)
        score = self._row.score
        gained = score.copy()
        if len(lags):
            past = self._scores[(newest - lags) % self._history, lags]
            begun_before = self._row.start_late[lags] <= (newest - lags)[:, np.newaxis]
            gained[lags] -= np.where(begun_before, np.minimum(past, score[lags]), 0.0)
        return score, gained

    def start_late(self, lag: int, column: int) -> int:
        """Return the first group of the later side, -1 where nothing is aligned."""
        return int(self._row.start_late[lag, column])

    def trace(self, lag: int, column: int, back_to: int) -> tuple[Cell, ...]:
        """Return the best alignment ending at the newest group, newest cell first.

        It reaches back to where it began or to the later side's group `back_to`.
        """
        cells = []
        late = self.count - 1
        oldest = max(back_to, self.count - self._history + 1, 0)
        moves, gains, history = self._moves, self._gains, self._history
        while late >= oldest:
            at = late % history
            move = int(moves[at, lag, column])
            cells.append(Cell(late, late - lag, move, float(gains[at, lag, column])))
            if move == BEGIN:
                break
            late -= 1
            lag += _LAG_BEFORE[move]
        return tuple(cells)

    def _slide(self) -> None:
        """Forget groups beyond the longest lag: amortised, memory stays flat."""
        keep = self.longest + _MARGIN
        drop = self._capacity - keep
        for array in (self._played, self._onset_s, self._size):
            array[:keep] = array[drop:].copy()
        self._first += drop

    def _advance(self, at: int, pitches: tuple[int, ...]) -> None:
        """Compute the newest group's row from the row before."""
        row = self._row
        row.score[:] = 0.0
        row.start_late[:] = -1
        newest = self.count - 1
        self._moves[newest % self._history] = BEGIN
        self._gains[newest % self._history] = 0.0
        known = min(at, self.longest)
        if known:
            self._fill(at, known, pitches)
        self._scores[newest % self._history] = row.score

    def _fill(self, at: int, known: int, pitches: tuple[int, ...]) -> None:
        costs, row, before = self._costs, self._row, self._before
        earlier = self._earlier(at, known, pitches)
        matched, size, onset_s = earlier
        onset = float(self._onset_s[at])
        lag_s = (onset - onset_s[:known]).astype(np.float32)[:, np.newaxis]
        wait = onset - float(self._onset_s[at - 1])
        wait_early: NDArray[np.float64] = onset_s[:known] - onset_s[1 : known + 1]
        pair = np.float32(costs.match + 2 * costs.unmatched)
        fit = pair * matched[:known]
        emission = fit - costs.unmatched * (len(pitches) + size[:known])[:, np.newaxis]
        slack_s = costs.drift_s + costs.drift_share * np.maximum(wait, wait_early)
        allowed = slack_s.astype(np.float32)[:, np.newaxis]

        def drift(lag_before_s: Floats) -> Any:
            z = (lag_s - lag_before_s) / allowed
            return np.maximum(costs.rhythm_gain - 0.5 * z * z, -costs.rhythm_loss)

        same, one, two, less = (slice(1 + d, known + 1 + d) for d in (0, 1, 2, -1))
        sources = (same, one, two, less)
        kept = np.float32(costs.kept_past)
        past = np.stack(
            (
                before.score[same],
                np.minimum(before.score[one], kept),
                np.minimum(before.score[two], kept),
                np.minimum(before.score[less], kept),
            )
        )
        # a group skipped in the earlier link; where both lie close they may be one chord
        skipped = costs.unmatched * size[1 : known + 1, np.newaxis]
        skipped_two = skipped + costs.unmatched * size[2 : known + 2, np.newaxis]
        one_chord = (wait_early < costs.spread_s)[:, np.newaxis]
        together = emission + np.where(one_chord, pair * matched[1 : known + 1], 0.0)
        ceiling = costs.match * (size[:known] + size[1 : known + 1])[:, np.newaxis]
        extra = (fit if wait < costs.spread_s else 0.0) - costs.unmatched * len(pitches)
        steps = np.stack(
            (
                emission + drift(before.drift_lag[same]),
                np.minimum(together, ceiling) - skipped + drift(before.drift_lag[one]),
                emission - skipped_two + drift(before.drift_lag[two]),
                np.broadcast_to(extra - costs.uneven, emission.shape),
            )
        )
        options = past + steps
        for option, source in zip(options, sources, strict=True):
            option[before.start_late[source] < 0] = _NEVER
        move = options.argmax(axis=0)[np.newaxis]

        def chosen(stack: NDArray[Any]) -> Any:
            return np.take_along_axis(stack, move, axis=0)[0]

        best = chosen(options)
        begins = (best <= emission) & (emission > 0)
        dead = (best <= 0) & ~begins
        lags = slice(1, known + 1)
        score = np.where(begins, emission, np.where(dead, 0.0, best))
        start = chosen(np.stack([before.start_late[s] for s in sources]))
        newest = self.count - 1
        row.score[lags] = score
        row.start_late[lags] = np.where(dead, -1, np.where(begins, newest, start))
        row.drift_lag[lags] = np.where((move[0] == EXTRA) & ~begins, before.drift_lag[less], lag_s)
        at_history = newest % self._history
        self._moves[at_history, lags] = np.where(begins | dead, BEGIN, move[0])
        self._gains[at_history, lags] = score - np.where(begins | dead, 0.0, chosen(past))

    def _earlier(
        self, at: int, known: int, pitches: tuple[int, ...]
    ) -> tuple[Floats, Floats, NDArray[np.float64]]:
        """The groups before, newest first, two more than `known` (empty where there are none).

        Matched notes per (lag, step), number of notes, onset.
        """
        reach = min(at, known + 2)
        span = slice(at - reach, at)
        image = self._table[:, list(pitches), :].sum(axis=1)
        matched = np.zeros((known + 2, self.steps), np.float32)
        matched[:reach] = np.minimum((self._played[span] @ image)[::-1], len(pitches))
        size = np.zeros(known + 2, np.float32)
        size[:reach] = self._size[span][::-1]
        onset_s = np.full(known + 2, -1e9)
        onset_s[:reach] = self._onset_s[span][::-1]
        return matched, size, onset_s
