"""Signals that end a sitting in good order: Ctrl-C, a shutdown, a closed window.

Conventions: for the main thread, where Python handles signals. The first signal asks; the second
one of a kind does what it would have done without us.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator
from types import FrameType

# not every platform has every one: SIGHUP is POSIX, SIGBREAK is Windows
_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


@contextlib.contextmanager
def ends_on_signals(end: Callable[[], object]) -> Iterator[None]:
    """Call `end` when a signal asks for the end, inside the `with` block."""
    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}

    def ask(number: int, _frame: FrameType | None) -> None:
        signal.signal(number, before[number] or signal.SIG_DFL)
        end()

    for number in numbers:
        if before[number] is not signal.SIG_IGN:  # as under nohup
            signal.signal(number, ask)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler or signal.SIG_DFL)
