"""Keeps C libraries from writing over the screen while a port or sound card is opened.

ALSA, JACK and audio back ends write many lines to the C-level standard error when there is no
server or no card; that would tear a terminal screen, and the one clear line that matters comes
from us. Only file descriptor 2 is turned away, for as short as possible.

Conventions: may be nested and used from several threads at once (the first one in turns standard
error away, the last one out brings it back). What is written meanwhile is gone, Python's own
`sys.stderr` included: wrap the library call alone.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from collections.abc import Iterator

_STDERR_FD = 2

_lock = threading.Lock()
_inside = 0
_kept_fd: int | None = None  # the real standard error while it is turned away


@contextlib.contextmanager
def silenced_stderr() -> Iterator[None]:
    """Send whatever is written to file descriptor 2 to nowhere, inside the `with` block.

    A process without a standard error (a windowed one) is left as it is.
    """
    _turn_away()
    try:
        yield
    finally:
        _bring_back()


def _turn_away() -> None:
    global _inside, _kept_fd  # noqa: PLW0603 -- a file descriptor belongs to the whole process
    with _lock:
        _inside += 1
        if _inside > 1:
            return
        if sys.stderr is not None:
            sys.stderr.flush()
        try:
            _kept_fd = os.dup(_STDERR_FD)
        except OSError:  # there is no descriptor 2: nothing to silence
            _kept_fd = None
            return
        nowhere_fd = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere_fd, _STDERR_FD)
        finally:
            os.close(nowhere_fd)


def _bring_back() -> None:
    global _inside, _kept_fd  # noqa: PLW0603
    with _lock:
        _inside -= 1
        if _inside > 0 or _kept_fd is None:
            return
        if sys.stderr is not None:
            sys.stderr.flush()
        os.dup2(_kept_fd, _STDERR_FD)
        os.close(_kept_fd)
        _kept_fd = None
