"""The one clock that everything live goes by, and one that tests and replay move by hand.

Conventions: seconds as a float from an arbitrary start, never going back. Everything that needs
"now" is handed a `Clock`; this is the only module that imports `time`.

`SystemClock` reads the same value in every process of the machine, so that a deadline computed in
one process holds in another, and goes on while the machine sleeps, so that after a suspend
everything that was pending is late and is dropped instead of being played an hour too late:

- Linux: CLOCK_BOOTTIME. It is CLOCK_MONOTONIC (system-wide, never set) plus the time spent
  suspended; see clock_gettime(2). `time.monotonic` would stand still during a suspend.
- macOS: CLOCK_MONOTONIC_RAW, which goes on during sleep and isn't steered; see clock_gettime(3).
- Windows: `time.perf_counter`, the performance counter since boot, the same in all processes.
  `time.monotonic` there moves in steps of about 16 ms before Python 3.13.
- elsewhere: `time.monotonic`.

The sounding process compares its clock with its parent's when it starts (`live.sounder`), so a
platform where this does not hold is found out at once.
"""

from __future__ import annotations

import sys
import time  # noqa: TID251 -- the one place
from collections.abc import Callable
from functools import partial
from typing import Protocol


class Clock(Protocol):
    """What tells the time."""

    def now_s(self) -> float:
        """Return the seconds since an arbitrary start; never less than before."""
        ...

    def sleep_until(self, t_s: float) -> None:
        """Return when `now_s()` has reached `t_s`, at once where it has already."""
        ...


def _system_reader() -> Callable[[], float]:
    if sys.platform == "win32":
        return time.perf_counter
    name = "CLOCK_BOOTTIME" if sys.platform == "linux" else "CLOCK_MONOTONIC_RAW"
    number = getattr(time, name, None)
    if number is None:
        return time.monotonic
    try:
        time.clock_gettime(number)
    except OSError:  # a kernel without it
        return time.monotonic
    return partial(time.clock_gettime, number)


_read_s = _system_reader()


class SystemClock:
    """The machine's clock."""

    __slots__ = ()

    def now_s(self) -> float:
        """Return the seconds since the machine was started, its sleep included."""
        return _read_s()

    def sleep_until(self, t_s: float) -> None:
        """Sleep until `t_s`; wakes some tens of microseconds late, never early."""
        while (left_s := t_s - _read_s()) > 0.0:
            time.sleep(left_s)

    @staticmethod
    def reader() -> Callable[[], float]:
        """Return the bare function behind `now_s`, for loops that spin on it."""
        return _read_s


class ManualClock:
    """A clock that moves only when told to, for tests and for replay.

    >>> clock = ManualClock(10.0)
    >>> clock.sleep_until(12.5)
    >>> clock.advance(0.5)
    >>> clock.now_s()
    13.0
    """

    __slots__ = ("_now_s",)

    def __init__(self, start_s: float = 0.0) -> None:
        self._now_s = start_s

    def now_s(self) -> float:
        """Return the time it was last moved to."""
        return self._now_s

    def sleep_until(self, t_s: float) -> None:
        """Jump to `t_s`; stay where that has passed."""
        self._now_s = max(self._now_s, t_s)

    def advance(self, by_s: float) -> None:
        """Jump ahead by `by_s`.

        Raises:
            ValueError: `by_s` is negative; a clock never goes back.
        """
        if by_s < 0.0:
            raise ValueError(f"a clock never goes back: {by_s}")
        self._now_s += by_s
