"""Where a lesson or a game is shown: a full screen on a terminal, plain lines on anything else.

Conventions: as `screen.stage`, for another kind of view.
"""

from __future__ import annotations

from rich.console import Console

from livecont.screen.ear_page import render_ear
from livecont.screen.ear_view import EarView
from livecont.screen.terminal import Terminal
from livecont.screen.typeset import clean, to_ascii


class EarStage(Terminal):
    """Shows views on a console for as long as its `with` block lasts.

    Args:
        console: where to show; the terminal of the process when None.
    """

    def __init__(self, console: Console | None = None) -> None:
        super().__init__(console)
        self._lines: tuple[str, ...] = ()

    def show(self, view: EarView) -> None:
        """Draw a view, or print what is new in it; nothing is written when nothing changed."""
        if not self.full_screen:
            self._print(view)
        elif self._live is not None:
            width, height = self._console.size
            sheet = render_ear(view, width=width, height=height)
            if sheet != self._sheet:
                self._sheet = sheet
                self._live.update(sheet, refresh=True)

    def _print(self, view: EarView) -> None:
        lines = plain_ear_lines(view)
        if lines == self._lines:
            return
        known, self._lines = self._lines, lines
        same = sum(1 for a, b in zip(known, lines, strict=False) if a == b) if known else 0
        start = same if known[:same] == lines[:same] else 0
        for text in lines[start:]:
            self._console.out(text, highlight=False)
        self._console.file.flush()


def plain_ear_lines(view: EarView) -> tuple[str, ...]:
    """Return a view in plain lines: whose turn, what is said, what there is to choose from."""
    number = f" {view.number}" if view.number is not None else ""
    first = f"{view.title}{number}, {view.who}: {view.big}".replace(", :", ":")
    rows = [first, *(f"  {sentence}" for sentence in view.said)]
    if view.beside:
        rows.append(f"  due:    {' '.join(chord.due for chord in view.beside)}")
        played = (f"[{c.played}]" if c.fault else c.played for c in view.beside)
        rows.append(f"  played: {' '.join(played)}")
    rows += [f"  {name}: {text}" for name, text in view.rows]
    rows += [f"  {sign}: {text}" for sign, text in view.choices]
    if view.message:
        rows.append(f"  {view.message}")
    return tuple(to_ascii(clean(row)) for row in rows)
