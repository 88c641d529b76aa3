"""Sets a process apart from the terminal and the job that it was started from.

Conventions: both functions return a descriptor that becomes readable when there is something to
know, None where the platform has no such thing. To be called once, in the main thread.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys


def own_signals() -> int | None:
    """Leave the parent's process group; return what becomes readable when a signal asks to end."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if sys.platform == "win32":
        return None
    with contextlib.suppress(OSError):
        os.setpgid(0, 0)
    for ignored in (signal.SIGHUP, signal.SIGQUIT, signal.SIGTSTP):
        signal.signal(ignored, signal.SIG_IGN)
    readable, writable = os.pipe()
    os.set_blocking(writable, False)
    signal.set_wakeup_fd(writable, warn_on_full_buffer=False)
    signal.signal(signal.SIGTERM, lambda *_: None)  # the descriptor wakes the loop
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})  # blocked while we were started
    return readable


def own_stderr() -> int | None:
    """Keep C libraries off the terminal; return what becomes readable when one complains."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    if sys.platform == "win32":
        os.dup2(nowhere, 2)
        return None
    readable, writable = os.pipe()
    os.set_blocking(writable, False)  # nobody may ever wait for us to read it
    os.dup2(writable, 2)
    os.close(writable)
    os.close(nowhere)
    return readable
