"""Alignments that keep their lag: the plain comparison beside the one that bends.

`sequence.lags` follows the best alignment up to each group. Where a player comes from other music,
that best one may still be living on what it gained there, one group out of place; a new sequence
then looks poor, for it is only ever the heir of the old alignment. What keeps its lag needs no past
to lean on, so it is reckoned separately, and the better of the two readings counts.

Conventions: as in `sequence.lags`; a score above 0 means that the alignment is alive.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]


class StraightLags:
    """Scores of the alignments that keep their lag, for the latest `history` groups."""

    def __init__(self, history: int, lags: int, steps: int) -> None:
        self._history = history
        self._score = np.zeros((history, lags, steps), np.float32)
        self._start = np.full((history, lags, steps), -1, np.int32)
        self._all_lags = np.arange(lags)
        self._ages = np.arange(history)

    def clear(self, newest: int) -> None:
        """Forget what the row of group `newest` held."""
        row = newest % self._history
        self._score[row] = 0.0
        self._start[row] = -1

    def advance(self, newest: int, known: int, begun: Floats, carried: Floats) -> None:
        """Compute the cleared row of group `newest` from the row before.

        Args:
            newest: number of the group.
            known: how many lags there are groups for.
            begun: what the group gains where an alignment begins, shape (known, steps).
            carried: the same where one is carried on.
        """
        row, before = newest % self._history, (newest - 1) % self._history
        lags = slice(1, known + 1)
        past = self._score[before, lags]
        goes_on = past + carried
        begins = (past <= 0) | (goes_on < begun)
        self._score[row, lags] = np.maximum(np.where(begins, begun, goes_on), 0.0)
        self._start[row, lags] = np.where(begins, newest, self._start[before, lags])

    def gained(self, newest: int, known: int) -> Floats:
        """Return what was gained within the newest lag, shape (lags, steps); 0 where none is."""
        row = newest % self._history
        gained: Floats = self._score[row].copy()
        lags = self._all_lags[1 : known + 1]
        past = self._score[(newest - lags) % self._history, lags]
        older = self._start[row, 1 : known + 1] <= (newest - lags)[:, np.newaxis]
        gained[1 : known + 1] -= np.where(older, past, 0.0)
        return gained

    def trace(self, newest: int, lag: int, column: int) -> tuple[int, NDArray[np.float64]]:
        """Return an alignment's first group, and what its first 0, 1, … entries gained together.

        Entries are newest first; what lies beyond the history is left out.
        """
        start = int(self._start[newest % self._history, lag, column])
        reach = min(newest - start + 1, self._history - 1)
        scores = self._score[(newest - self._ages[:reach]) % self._history, lag, column]
        before = np.zeros(reach, np.float64)
        before[:-1] = scores[1:]
        return start, np.concatenate(((0.0,), np.cumsum(scores - before)))
