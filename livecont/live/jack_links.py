"""Asks a JACK server whether a port is still joined to one of ours, and whether its cycles go on.

rtmidi can't tell: a synth that was closed and opened again within half a second, or a cable pulled
in a patch bay, leaves a port under the same name and nothing between. So the library that rtmidi
has loaded is asked through ctypes, by a client that takes no part in the server's cycles.

Conventions: port names as JACK has them, "client:port". Where the library can't be asked the answer
is that a port is joined. As for any client of JACK: of a dead server it is abandoned, not closed.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
from pathlib import Path
from typing import Any

from livecont.live.clock import SystemClock
from livecont.live.quiet import silenced_stderr

_NO_START_SERVER = 0x01  # JackNoStartServer, jack/types.h
_LOOK_EVERY_S = 0.001


def marked(port: str) -> str:
    """Return a name for a port of this process that no other process's port has.

    JACK may have given our client another name than we asked for, and tells nobody.
    """
    return f"{port} {os.getpid()}"


class JackLinks:
    """A client that looks at connections; it does nothing where JACK can't be asked."""

    def __init__(self, name: str) -> None:
        self._jack = _library()
        self._client: int | None = None
        if self._jack is not None:
            status = ctypes.c_int(0)
            with silenced_stderr():
                self._client = self._jack.jack_client_open(
                    name.encode(), _NO_START_SERVER, ctypes.byref(status)
                )

    def joined(self, port: str, ours: str) -> bool:
        """Say whether a port of another program is connected to our port marked `ours`."""
        if self._jack is None or not self._client:
            return True
        there = self._jack.jack_port_by_name(self._client, port.encode())
        if not there:
            return False
        names = self._jack.jack_port_get_all_connections(self._client, there)
        if not names:
            return False
        try:
            for name in names:
                if name is None:  # the end of the list
                    return False
                if name.endswith(f":{ours}".encode()):
                    return True
        finally:
            self._jack.jack_free(ctypes.cast(names, ctypes.c_void_p))
        return False

    def await_joined(self, port: str, ours: str, patience_s: float) -> bool:
        """Wait, so long at most, until a connection just made holds; say whether it does.

        A server takes it in at the end of a cycle that went well; what is sent before is lost.
        """
        clock = SystemClock()
        ends_s = clock.now_s() + patience_s
        while not self.joined(port, ours):
            if clock.now_s() > ends_s:
                return False
            clock.sleep_until(clock.now_s() + _LOOK_EVERY_S)
        return True

    def await_cycles(self, count: int, patience_s: float) -> bool:
        """Wait until so many cycles have begun; say False where they don't come in that time.

        What was sent before two cycles began is out. While a server waits for a client that was
        killed there are none.
        """
        if self._jack is None or not self._client:
            return True
        clock = SystemClock()
        ends_s = clock.now_s() + patience_s
        last = self._jack.jack_last_frame_time(self._client)
        while count > 0:
            if clock.now_s() > ends_s:
                return False
            clock.sleep_until(clock.now_s() + _LOOK_EVERY_S)
            now = self._jack.jack_last_frame_time(self._client)
            count -= now != last
            last = now
        return True

    def close(self, *, answers: bool) -> None:
        """Leave the server; `answers`: it is there."""
        client, self._client = self._client, None
        if self._jack is not None and client and answers:
            with silenced_stderr():
                self._jack.jack_client_close(client)


def _library() -> Any:
    """Return the JACK library of this process, None where there is none or it lacks something."""
    if sys.platform != "linux":
        return None
    with contextlib.suppress(OSError, AttributeError):
        maps = Path("/proc/self/maps").read_text(encoding="utf-8", errors="replace")
        paths = {line.split(maxsplit=5)[-1] for line in maps.splitlines() if "/libjack" in line}
        for path in sorted(paths):
            return _declared(ctypes.CDLL(path))
    return None


def _declared(jack: Any) -> Any:
    pointer, text = ctypes.c_void_p, ctypes.c_char_p
    for name, result, arguments in (
        ("jack_client_open", pointer, (text, ctypes.c_int, ctypes.POINTER(ctypes.c_int))),
        ("jack_client_close", ctypes.c_int, (pointer,)),
        ("jack_port_by_name", pointer, (pointer, text)),
        ("jack_port_get_all_connections", ctypes.POINTER(text), (pointer, pointer)),
        ("jack_last_frame_time", ctypes.c_uint32, (pointer,)),
        ("jack_free", None, (pointer,)),
    ):
        function = getattr(jack, name)
        function.restype, function.argtypes = result, arguments
    return jack
