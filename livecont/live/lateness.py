"""How late things were, in bounded memory however long it goes on.

Conventions: seconds; what was early counts as 0. Counted in bins of 1 us up to 20 ms and one bin
above, so quantiles are right to 1 us below 20 ms and the greatest value is exact.
"""

from __future__ import annotations

from array import array

_BIN_S = 1e-6
_BINS = 20_000


class Lateness:
    """Counts of lateness.

    >>> late = Lateness()
    >>> for late_s in (0.000010, 0.000020, 0.000500):
    ...     late.add(late_s)
    >>> round(late.quantile_s(0.5) * 1e6), round(late.most_s * 1e6)
    (20, 500)
    """

    __slots__ = ("_bins", "count", "most_s")

    def __init__(self) -> None:
        self._bins = array("L", bytes(array("L").itemsize * (_BINS + 1)))
        self.count = 0
        self.most_s = 0.0

    def add(self, late_s: float) -> None:
        """Count one."""
        late_s = max(0.0, late_s)
        self._bins[min(_BINS, round(late_s / _BIN_S))] += 1
        self.count += 1
        self.most_s = max(self.most_s, late_s)

    def quantile_s(self, share: float) -> float:
        """Return the least value that `share` (0..1) of all are not above; 0 where there are none.

        Above 20 ms it is the greatest value of all.
        """
        wanted = share * self.count
        seen = 0
        for number, count in enumerate(self._bins):
            seen += count
            if count and seen >= wanted:
                return min(self.most_s, number * _BIN_S) if number < _BINS else self.most_s
        return 0.0
