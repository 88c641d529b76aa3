"""What the sounding process tells the main process, without ever waiting for it.

Conventions: frames as in `live.wire`. A main process that doesn't read (stopped, busy, dead) must
not delay a note: on POSIX a full pipe refuses the frame at once; on Windows, where a pipe would
make us wait, a thread does the waiting and a bounded queue refuses.
"""

from __future__ import annotations

import contextlib
import os
import queue
import sys
import threading
from dataclasses import astuple
from multiprocessing.connection import Connection
from typing import Any

from livecont.live.sounding import Sounding

_QUEUED_FRAMES = 1_000
_CLOSING_S = 0.5


class Replies:
    """The reply pipe's sending end."""

    def __init__(
        self, connection: Connection[Any, Any], *, threaded: bool = sys.platform == "win32"
    ) -> None:
        self._connection = connection
        self._queue: queue.Queue[tuple[object, ...] | None] | None = None
        self._thread: threading.Thread | None = None
        self._last_counts: tuple[object, ...] = ()
        self._last_lost: str | None = None
        if threaded:
            self._queue = queue.Queue(_QUEUED_FRAMES)
            self._thread = threading.Thread(target=self._send_queued, daemon=True)
            self._thread.start()
        else:
            os.set_blocking(connection.fileno(), False)

    def tell(self, frame: tuple[object, ...]) -> bool:
        """Send `frame`; say False where there is no room now. Nobody there: it counts as sent."""
        if frame[0] in ("ready", "found"):
            self._last_lost = None
        if self._queue is not None:
            try:
                self._queue.put_nowait(frame)
            except queue.Full:
                return False
            return True
        try:
            self._connection.send(frame)
        except BlockingIOError:
            return False
        except OSError:  # the main process is gone; the command pipe says so too
            return True
        return True

    def tell_counts(self, core: Sounding) -> None:
        """Send the counts where they changed since they were last sent."""
        counts = (*astuple(core.counts), core.pending)
        if counts != self._last_counts and self.tell(("counts", counts)):
            self._last_counts = counts

    def tell_lost(self, why: str) -> None:
        """Send that the output is lost, once for each loss."""
        if why != self._last_lost and self.tell(("lost", why)):
            self._last_lost = why

    def close(self) -> None:
        """End the pipe, after what is queued where somebody reads it."""
        if self._queue is not None and self._thread is not None:
            with contextlib.suppress(queue.Full):
                self._queue.put_nowait(None)
                self._thread.join(_CLOSING_S)
        self._connection.close()

    def _send_queued(self) -> None:
        assert self._queue is not None  # noqa: S101 -- the thread is started with one
        while (frame := self._queue.get()) is not None:
            try:
                self._connection.send(frame)
            except OSError:
                return
