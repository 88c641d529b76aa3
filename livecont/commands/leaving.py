"""Signals that ask for the end: they call for it in order, and break nothing off.

Conventions: exit codes as shells have them, 128 and the signal's number.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType
from typing import Any

SIGNALLED = 128  # a shell's code for a signal is this and its number


@dataclass(slots=True)
class Left:
    """How the sitting was left: 0, or a shell's code for a signal."""

    code: int = 0


@contextmanager
def signals(leave: Callable[[], None]) -> Iterator[Left]:
    """Have signals that ask for the end call `leave`, instead of breaking off what is going on."""
    left = Left()

    def on_signal(number: int, _frame: FrameType | None) -> None:
        left.code = SIGNALLED + number
        leave()

    names = ["SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"]  # the last is Windows' Ctrl-Break
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    before: dict[int, Any] = {number: signal.signal(number, on_signal) for number in numbers}
    try:
        yield left
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
