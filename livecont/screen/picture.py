"""A page as a picture: SVG in a plain frame of our own, for the README.

Conventions: the text stays text; no font is fetched, any monospaced one will do. Sizes in cells and
lines, as on a terminal.
"""

from __future__ import annotations

import io
from pathlib import Path

from rich.console import Console
from rich.terminal_theme import TerminalTheme

from livecont.screen.notes import ScreenNotes
from livecont.screen.page import render
from livecont.sitting.snapshot import Snapshot

# ink and paper, and rich's eight colours for text that asks for them
_PAPER = TerminalTheme(
    (250, 247, 240),
    (38, 34, 30),
    [
        (38, 34, 30),
        (178, 66, 38),
        (88, 110, 60),
        (150, 110, 40),
        (60, 84, 120),
        (120, 70, 110),
        (60, 110, 110),
        (120, 114, 104),
    ],
)

# 21 px makes a block character exactly as high as rich's distance of lines, 24.4 px
_FRAME = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img">
<style>
.{unique_id}-matrix {{ font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace; \
font-size: 21px; white-space: pre; }}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal">
<rect width="{terminal_width}" height="{terminal_height}"/>
</clipPath>
{lines}
</defs>
<rect width="{width}" height="{height}" rx="6" fill="#faf7f0"/>
<g transform="translate({terminal_x}, 24)" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""


def picture(
    snapshot: Snapshot, path: Path, *, notes: ScreenNotes, width: int = 80, height: int = 24
) -> None:
    """Write the page of a snapshot to an SVG file.

    Raises:
        OSError: where the file can't be written.
    """
    console = Console(
        record=True,
        width=width,
        height=height,
        file=io.TextIOWrapper(io.BytesIO(), encoding="utf-8"),
        force_terminal=True,
        color_system="truecolor",
        legacy_windows=False,
        no_color=False,
    )
    console.print(render(snapshot, width=width, height=height, notes=notes), end="")
    svg = console.export_svg(
        title="livecont", theme=_PAPER, code_format=_FRAME, unique_id="livecont"
    )
    path.write_text(svg, encoding="utf-8")
