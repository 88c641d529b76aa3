"""Where a sitting is shown: a full screen on a terminal, plain lines on anything else.

Conventions: whoever owns the stage hands it snapshots, some fifteen a second, from one thread; it
draws at once and starts no thread of its own. It reads no clock and no keyboard. The terminal is
given back when the `with` block is left, by whatever exception, and at the interpreter's exit at
the latest; signals that should end in order have to be made exceptions by the caller.
"""

from __future__ import annotations

from rich.console import Console

from livecont.screen.lines import plain_lines
from livecont.screen.notes import ScreenNotes
from livecont.screen.page import render
from livecont.screen.terminal import Terminal
from livecont.screen.typeset import clean, to_ascii
from livecont.sitting.snapshot import Snapshot


class Stage(Terminal):
    """Shows snapshots on a console for as long as its `with` block lasts.

    Args:
        console: where to show; the terminal of the process when None.
    """

    def __init__(self, console: Console | None = None) -> None:
        super().__init__(console)
        self._previous: Snapshot | None = None
        self._message: str | None = None

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
