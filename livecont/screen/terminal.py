"""The terminal as a whole screen that is drawn on, and given back whatever happens.

Conventions: nothing is drawn but what is asked for; no thread is started. Where there is no
terminal, `full_screen` is False and nothing is taken.
"""

from __future__ import annotations

import atexit
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.live import Live

from livecont.screen.typeset import Sheet


class Terminal:
    """A console that is a full screen for as long as its `with` block lasts, if it is a terminal.

    Args:
        console: where to show; the terminal of the process when None.
    """

    def __init__(self, console: Console | None = None) -> None:
        self._console = console if console is not None else Console(highlight=False)
        # a pipe is no terminal, even where the environment asks for colour in it
        self.full_screen = self._console.is_interactive and self._console.file.isatty()
        self._live: Live | None = None
        self._sheet: Sheet | None = None

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
