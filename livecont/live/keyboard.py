"""The computer's keyboard as a control: single keys, without waiting for enter.

Conventions: each key comes as one character. What a key sends in several (arrows, function keys)
is passed over. Where standard input is no terminal there is nothing to read and nothing is changed.
The terminal is put back on every path out that Python sees: leaving the block, an exception, the
interpreter's exit. Ctrl-C goes on meaning an interrupt; Ctrl-Z is turned off while keys are read,
since a sitting that is stopped in the middle would leave its notes sounding.
"""

from __future__ import annotations

import atexit
import sys
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Any

if sys.platform == "win32":
    import msvcrt
else:
    import os
    import select
    import termios

LOOK_EVERY_S = 0.1
_MOST_AT_ONCE = 64
_ESCAPE = "\x1b"


class ComputerKeys:
    """Reads keys in a thread of its own and hands each to `press`.

    Use it as a context manager.
    """

    def __init__(self, press: Callable[[str], object], stdin_fd: int | None = None) -> None:
        self._press = press
        self._fd = _terminal_fd() if stdin_fd is None else stdin_fd
        self._before: list[Any] | None = None
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._read_on, name="keys", daemon=True)

    @property
    def there(self) -> bool:
        """Whether there is a terminal to read keys from."""
        return self._fd is not None

    def __enter__(self) -> ComputerKeys:
        if self._fd is not None:
            self._set_terminal(self._fd)
            self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._ended.set()
        if self._thread.is_alive():
            self._thread.join(2 * LOOK_EVERY_S)
        self.restore()

    def restore(self) -> None:
        """Put the terminal back as it was; may be called again, does nothing then."""
        before, self._before = self._before, None
        if before is not None and self._fd is not None:
            _put_back(self._fd, before)
            atexit.unregister(self.restore)

    def _set_terminal(self, fd: int) -> None:
        self._before = _single_keys(fd)
        atexit.register(self.restore)

    def _read_on(self) -> None:
        while not self._ended.is_set():
            signs = self._read()
            if signs is None:  # the terminal is gone
                return
            for sign in keys_in(signs):
                self._press(sign)

    def _read(self) -> str | None:
        """Return what was typed, after `LOOK_EVERY_S` at most; None where nothing ever will be."""
        if sys.platform == "win32":
            self._ended.wait(LOOK_EVERY_S)
            return _typed()
        return None if self._fd is None else _typed(self._fd)


def keys_in(signs: str) -> tuple[str, ...]:
    r"""Return the keys that were struck, those that send several characters left out.

    >>> keys_in("a\x1b[Ab"), keys_in("\x1b")
    (('a', 'b'), ('\x1b',))
    """
    found: list[str] = []
    at = 0
    while at < len(signs):
        if signs[at] == _ESCAPE and signs[at + 1 : at + 2] in ("[", "O"):
            at += 2
            while at < len(signs) and not 0x40 <= ord(signs[at]) <= 0x7E:  # ECMA-48's final byte
                at += 1
        else:
            found.append(signs[at])
        at += 1
    return tuple(found)


def _terminal_fd() -> int | None:
    try:
        return sys.stdin.fileno() if sys.stdin is not None and sys.stdin.isatty() else None
    except (OSError, ValueError):  # closed, or replaced by something without a descriptor
        return None


if sys.platform == "win32":

    def _single_keys(fd: int) -> list[Any] | None:
        return None  # msvcrt reads single keys anyway

    def _put_back(fd: int, before: list[Any]) -> None:
        pass

    def _typed() -> str:
        found = ""
        while msvcrt.kbhit():
            sign = msvcrt.getwch()
            if sign in ("\x00", "\xe0"):  # a key without a character: its number follows
                msvcrt.getwch()
            else:
                found += sign
        return found

else:

    def _single_keys(fd: int) -> list[Any] | None:
        """Have each key told at once and unseen; return how the terminal was."""
        before = termios.tcgetattr(fd)
        changed = termios.tcgetattr(fd)
        changed[3] &= ~(termios.ICANON | termios.ECHO)
        changed[6][termios.VMIN], changed[6][termios.VTIME] = 1, 0
        changed[6][termios.VSUSP] = os.fpathconf(fd, "PC_VDISABLE").to_bytes(1, "little")
        termios.tcsetattr(fd, termios.TCSANOW, changed)
        return before

    def _put_back(fd: int, before: list[Any]) -> None:
        try:
            termios.tcsetattr(fd, termios.TCSANOW, before)
        except termios.error:  # the terminal is gone: a closed window
            return

    def _typed(fd: int) -> str | None:
        try:
            ready, _, _ = select.select([fd], [], [], LOOK_EVERY_S)
            if not ready:
                return ""
            raw = os.read(fd, _MOST_AT_ONCE)
        except (OSError, ValueError):
            return None
        return raw.decode("utf-8", errors="ignore") if raw else None
