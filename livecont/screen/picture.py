"""A page as a picture: SVG on paper-coloured ground, for the README.

Conventions: one cell is 12 by 24 units; text stays text and keeps its columns in any monospaced
font, block characters are drawn as rectangles so that large figures have no seams. The same page
gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from xml.sax.saxutils import escape

from rich.cells import cell_len

from livecont.screen.notes import ScreenNotes
from livecont.screen.page import render
from livecont.screen.typeset import RED, Line, Sheet, Tone
from livecont.sitting.snapshot import Snapshot

_CELL, _LEADING, _MARGIN = 12, 24, 12
_BASELINE = 18
# top and height of a block's ink within its cell, in halves
_BLOCKS = {"█": (0, 2), "▀": (0, 1), "▄": (1, 1)}
_SHADES = {"░": 0.18, "▒": 0.5}

_HEAD = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" \
width="{width}" height="{height}" role="img">
<style>
text {{ font: 19px "DejaVu Sans Mono", Menlo, Consolas, monospace; white-space: pre; }}
.plain {{ fill: #26221e; }}
.strong {{ fill: #26221e; font-weight: bold; }}
.quiet {{ fill: #7d766c; }}
.ours {{ fill: {red}; font-weight: bold; }}
.ours-quiet {{ fill: {red}; }}
</style>
<rect width="{width}" height="{height}" rx="6" fill="#faf7f0"/>
"""


def picture(
    snapshot: Snapshot, path: Path, *, notes: ScreenNotes, width: int = 80, height: int = 24
) -> None:
    """Write the page of a snapshot to an SVG file.

    Raises:
        OSError: where the file can't be written.
    """
    sheet = render(snapshot, width=width, height=height, notes=notes)
    write_picture(sheet, path)


def write_picture(sheet: Sheet, path: Path) -> None:
    """Write any page to an SVG file.

    Raises:
        OSError: where the file can't be written.
    """
    parts = [
        _HEAD.format(
            width=sheet.width * _CELL + 2 * _MARGIN,
            height=len(sheet.lines) * _LEADING + 2 * _MARGIN,
            red=RED,
        )
    ]
    for row, runs in enumerate(sheet.lines):
        parts += _drawn(runs, _MARGIN + row * _LEADING)
    path.write_text("".join(parts) + "</svg>\n", encoding="utf-8", newline="\n")


def _drawn(runs: Line, top: int) -> Iterator[str]:
    """Yield a line's text and blocks."""
    left = _MARGIN
    for text, tone in runs:
        for sign, group in groupby(text, key=lambda c: c if c in _BLOCKS or c in _SHADES else ""):
            part = "".join(group)
            cells = cell_len(part) * _CELL
            if sign:
                yield _block(sign, left, top, cells, tone)
            elif part.strip():
                yield (
                    f'<text class="{tone}" x="{left}" y="{top + _BASELINE}" textLength="{cells}" '
                    f'lengthAdjust="spacingAndGlyphs">{escape(part)}</text>\n'
                )
            left += cells


def _block(sign: str, left: int, top: int, cells: int, tone: Tone) -> str:
    half = _LEADING // 2
    start, halves = _BLOCKS.get(sign, (0, 2))
    opacity = f' opacity="{_SHADES[sign]}"' if sign in _SHADES else ""
    return (
        f'<rect class="{tone}" x="{left}" y="{top + start * half}" width="{cells}" '
        f'height="{halves * half}" shape-rendering="crispEdges"{opacity}/>\n'
    )
