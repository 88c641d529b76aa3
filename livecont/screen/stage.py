"""Where a sitting is shown: a full screen on a terminal, plain lines on anything else.

Conventions: whoever owns the stage hands it snapshots, some fifteen a second, from one thread; it
draws at once and starts no thread of its own. It reads no clock and no keyboard. The terminal is
given back when the `with` block is left, by whatever exception, and at the interpreter's exit at
the latest; signals that should end in order have to be made exceptions by the caller.
"""

from __future__ import annotations

import atexit
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.live import Live

from livecont.screen.lines import plain_lines
from livecont.screen.notes import ScreenNotes
from livecont.screen.page import render
from livecont.screen.typeset import Sheet, clean, to_ascii
from livecont.sitting.snapshot import Snapshot


class Stage:
    """Shows snapshots on a console for as long as its `with` block lasts.

    Args:
        console: where to show; the terminal of the process when None.
    """

    def __init__(self, console: Console | None = None) -> None:
        self._console = console if console is not None else Console(highlight=False)
        # a pipe is no terminal, even where the environment asks for colour in it
        self.full_screen = self._console.is_interactive and self._console.file.isatty()
        self._live: Live | None = None
        self._sheet: Sheet | None = None
        self._previous: Snapshot | None = None
        self._message: str | None = None

    def __enter__(self) -> Self:
        if self.full_screen:
            atexit.register(self.close)
            self._live = Live(
                Sheet((), 1),
                console=self._console,
                screen=True,
                auto_refresh=False,
                redirect_stdout=False,
                redirect_stderr=False,
            )
            self._live.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the terminal back; again does nothing."""
        live, self._live = self._live, None
        atexit.unregister(self.close)
        if live is not None:
            live.stop()

    def show(self, snapshot: Snapshot, notes: ScreenNotes) -> None:
        """Draw a snapshot, or print what is new in it; nothing is written when nothing changed."""
        if not self.full_screen:
            self._print(snapshot, notes)
        elif self._live is not None:
            width, height = self._console.size
            sheet = render(snapshot, width=width, height=height, notes=notes)
            if sheet != self._sheet:
                self._sheet = sheet
                self._live.update(sheet, refresh=True)

    def _print(self, snapshot: Snapshot, notes: ScreenNotes) -> None:
        lines = plain_lines(self._previous, snapshot)
        self._previous = snapshot
        if notes.message != self._message:
            self._message = notes.message
            lines += (to_ascii(clean(notes.message)),) if notes.message else ()
        for text in lines:
            self._console.out(text, highlight=False)
        self._console.file.flush()
