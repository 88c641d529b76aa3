"""The running comparison of what is played with what was played one lag earlier.

For every lag (counted in groups of onsets) and every step it keeps the best alignment that ends at
the newest group: a local alignment by dynamic programming, one row a group, so the cost per note is
linear in the longest lag and independent of what was played before. Alignment goes by the order of
onsets, which stands rubato better than seconds do; time enters as the drift of the lag. Beside it
runs the comparison that keeps its lag (`sequence.lags_straight`); the better of the two counts.

Conventions: groups are numbered from 0 as they come; `lag` k compares group n with n - k; columns
of tables are steps -widest..widest. Scores are log-likelihood ratios in nats (`sequence.costs`).
Row 0 of every (lags, steps) array stands for no lag and is never alive.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from livecont.sequence.costs import Costs
from livecont.sequence.lags_straight import StraightLags

Floats = NDArray[np.float32]
Ints = NDArray[np.int32]

# moves of the alignment, from the row before: both sides advance; the earlier link skips one or
# two groups; the later link has a group more; or the alignment begins here
BOTH, SKIP_ONE, SKIP_TWO, EXTRA, BEGIN = range(5)
# where the lag lay in the row before, as seen from the row after
_LAG_BEFORE = (0, 1, 2, -1, 0)
_MARGIN = 3  # rows are so much longer than the longest lag, for the moves that skip
_DEAD = np.float32(-1e9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """An alignment, newest first: entry i pairs group `newest - i` with `newest - i - lags[i]`.

    `gained[i]` is what its first i entries gained together (nats), so it has one entry more.
    `begun` tells whether the last entry is where the alignment began, or only where looking ended.
    """

    newest: int
    lags: NDArray[np.int64]
    moves: NDArray[np.uint8]
    gained: NDArray[np.float64]
    begun: bool

    def __len__(self) -> int:
        return len(self.lags)

    def early(self, entry: int) -> int:
        """The earlier side's group at an entry."""
        return int(self.newest - entry - self.lags[entry])


@dataclass(slots=True)
class _Row:
    """The state of every (lag, step) at one group: arrays of shape (lags, steps)."""

    score: Floats  # _DEAD where nothing is aligned
    drift_lag: Floats  # the lag in seconds when both sides last advanced
    start_late: Ints  # first group of the later side


def _empty_row(lags: int, steps: int) -> _Row:
    return _Row(
        np.full((lags, steps), _DEAD),
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
        shape = (self._history, lags, self.steps)
        self._moves = np.full(shape, BEGIN, np.uint8)
        self._gains = np.zeros(shape, np.float32)
        self._scores = np.zeros(shape, np.float32)
        self._straight = StraightLags(*shape)
        self._all_lags = np.arange(lags)
        self._ages = np.arange(self._history)
        self._flat = np.arange(lags * self.steps, dtype=np.int64).reshape(lags, self.steps)
        self._shift = np.array(_LAG_BEFORE[:4], dtype=np.int64) * self.steps

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

    def sizes(self, reach: int) -> Floats:
        """Return how many notes each of the newest `reach` groups has, newest first."""
        end = self.count - self._first
        return self._size[max(0, end - reach) : end][::-1]

    def onsets_s(self, groups: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the onsets of groups within two longest lags of the newest, by number."""
        onsets: NDArray[np.float64] = self._onset_s[groups - self._first]
        return onsets

    def standing(self) -> tuple[Floats, Floats]:
        """Return two arrays (lags, steps) for the newest group, 0 where nothing is aligned.

        The score of each alignment, and about how much of it was gained within the newest lag.
        """
        newest = self.count - 1
        score = np.maximum(self._row.score, 0.0)
        gained = score.copy()
        known = min(newest, self.longest)
        if known:
            lags = self._all_lags[1 : known + 1]
            past = self._scores[(newest - lags) % self._history, lags]
            begun_before = self._row.start_late[lags] <= (newest - lags)[:, np.newaxis]
            gained[1 : known + 1] -= np.where(
                begun_before, np.minimum(past, score[1 : known + 1]), 0.0
            )
        return score, gained

    def standing_straight(self) -> Floats:
        """Return what alignments that keep their lag gained within it, shape (lags, steps)."""
        newest = self.count - 1
        return self._straight.gained(newest, min(newest, self.longest))

    def start_late(self, lag: int, column: int) -> int:
        """Return the first group of the later side, -1 where nothing is aligned."""
        return int(self._row.start_late[lag, column])

    def trace(self, lag: int, column: int, reach: int) -> Path:
        """Return the best alignment ending at the newest group, over at most `reach` groups."""
        newest = self.count - 1
        reach = min(reach, newest + 1, self._history - 1)
        rows = (newest - self._ages[:reach]) % self._history
        lags = np.empty(reach, np.int64)
        moves = np.empty(reach, np.uint8)
        gains = np.empty(reach, np.float64)
        done = 0
        begun = False
        while done < reach and not begun:
            # a stretch of moves that keep the lag is read in one go
            stretch = self._moves[rows[done:], lag, column]
            turns = np.flatnonzero(stretch)
            length = int(turns[0]) + 1 if len(turns) else len(stretch)
            upto = slice(done, done + length)
            lags[upto] = lag
            moves[upto] = stretch[:length]
            gains[upto] = self._gains[rows[upto], lag, column]
            done += length
            last = int(stretch[length - 1])
            begun = last == BEGIN
            lag += _LAG_BEFORE[last]
        return Path(
            newest=newest,
            lags=lags[:done],
            moves=moves[:done],
            gained=np.concatenate(((0.0,), np.cumsum(gains[:done]))),
            begun=begun,
        )

    def trace_straight(self, lag: int, column: int) -> tuple[int, Path]:
        """Return the alignment that keeps its lag: first group of the later side, and its path."""
        newest = self.count - 1
        start, gained = self._straight.trace(newest, lag, column)
        moves = np.full(len(gained) - 1, BOTH, np.uint8)
        lags = np.full(len(moves), lag, np.int64)
        begun = len(moves) == newest - start + 1
        if begun:
            moves[-1] = BEGIN
        return start, Path(newest=newest, lags=lags, moves=moves, gained=gained, begun=begun)

    def _slide(self) -> None:
        """Forget groups beyond the longest two links: amortised, memory stays flat."""
        keep = 2 * self.longest + _MARGIN
        drop = self._capacity - keep
        for array in (self._played, self._onset_s, self._size):
            array[:keep] = array[drop:].copy()
        self._first += drop

    def _advance(self, at: int, pitches: tuple[int, ...]) -> None:
        """Compute the newest group's row from the row before."""
        row = self._row
        row.score[:] = _DEAD
        row.start_late[:] = -1
        at_history = (self.count - 1) % self._history
        self._moves[at_history] = BEGIN
        self._gains[at_history] = 0.0
        known = min(at, self.longest)
        self._straight.clear(self.count - 1)
        if known:
            self._fill(at, known, pitches)
        np.maximum(row.score, 0.0, out=self._scores[at_history])

    def _fill(self, at: int, known: int, pitches: tuple[int, ...]) -> None:
        row, before = self._row, self._before
        kept = np.float32(self._costs.kept_past)
        emission, steps, rhythm = self._moves_worth(at, known, pitches)
        self._straight.advance(self.count - 1, known, emission, emission + rhythm)
        clipped = np.minimum(before.score, kept)
        options = steps
        options[BOTH] += before.score[1 : known + 1]
        options[SKIP_ONE] += clipped[2 : known + 2]
        options[SKIP_TWO] += clipped[3 : known + 3]
        options[EXTRA] += clipped[:known]
        move = options.argmax(axis=0)
        best = options.max(axis=0)
        lags = slice(1, known + 1)
        source = self._flat[lags] + self._shift[move]
        begins = (best <= emission) & (emission > 0)
        fresh = begins | (best <= 0)
        score = np.where(begins, emission, best)
        dead = fresh & ~begins
        newest = self.count - 1
        start = before.start_late.ravel()[source]
        start[begins] = newest
        start[dead] = -1
        row.start_late[lags] = start
        row.score[lags] = np.where(dead, _DEAD, score)
        lag_s = (self._onset_s[at] - self._onset_s[at - known : at][::-1]).astype(np.float32)
        drift_lag = np.repeat(lag_s[:, np.newaxis], self.steps, axis=1)
        keeps = (move == EXTRA) & ~begins
        drift_lag[keeps] = before.drift_lag[:known][keeps]
        row.drift_lag[lags] = drift_lag
        past = before.score.ravel()[source]
        np.minimum(past, kept, out=past, where=move != BOTH)
        at_history = newest % self._history
        self._moves[at_history, lags] = np.where(fresh, BEGIN, move)
        self._gains[at_history, lags] = np.where(dead, 0.0, score - np.where(fresh, 0.0, past))

    def _moves_worth(
        self, at: int, known: int, pitches: tuple[int, ...]
    ) -> tuple[Floats, Any, Floats]:
        """What the newest group adds at each (lag, step).

        Returns what it adds where an alignment begins, what each move adds, (moves, lags, steps),
        and what the rhythm adds, (lags, 1), where the row before had the same lag.
        """
        costs = self._costs
        matched, size, onset_s = self._earlier(at, known, pitches)
        onset = float(self._onset_s[at])
        wait = onset - float(self._onset_s[at - 1])
        wait_early: NDArray[np.float64] = onset_s[:known] - onset_s[1 : known + 1]
        pair = np.float32(costs.match + 2 * costs.unmatched)
        fit = pair * matched
        unmatched = np.float32(costs.unmatched) * size
        alone = np.float32(costs.unmatched * len(pitches))
        emission: Floats = fit[:known] - (unmatched[:known] + alone)[:, np.newaxis]
        steps = np.empty((4, known, self.steps), np.float32)
        steps[:3] = emission
        # a group skipped in the earlier link; where both lie close they may be one chord
        one_chord = wait_early < costs.spread_s
        if one_chord.any():
            ceiling = costs.match * (size[:known] + size[1 : known + 1])[:, np.newaxis]
            together = np.minimum(emission + fit[1 : known + 1], ceiling)
            steps[SKIP_ONE][one_chord] = together[one_chord]
        steps[SKIP_ONE] -= unmatched[1 : known + 1, np.newaxis]
        steps[SKIP_TWO] -= (unmatched[1 : known + 1] + unmatched[2 : known + 2])[:, np.newaxis]
        steps[EXTRA] = (fit[:known] if wait < costs.spread_s else 0.0) - (alone + costs.uneven)
        # the drift of the lag since both sides last advanced
        slack_s = costs.drift_s + costs.drift_share * np.maximum(wait, wait_early)
        before = self._before.drift_lag
        rows, columns = before.strides
        three = as_strided(before[1:], (3, known, self.steps), (rows, rows, columns))
        z = (onset - onset_s[:known]).astype(np.float32)[:, np.newaxis] - three
        z /= slack_s.astype(np.float32)[:, np.newaxis]
        z *= z
        z *= np.float32(-0.5)
        z += np.float32(costs.rhythm_gain)
        steps[:3] += np.maximum(z, np.float32(-costs.rhythm_loss))
        drift = (wait - wait_early) / slack_s
        rhythm = np.maximum(costs.rhythm_gain - 0.5 * drift * drift, -costs.rhythm_loss)
        return emission, steps, rhythm.astype(np.float32)[:, np.newaxis]

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
