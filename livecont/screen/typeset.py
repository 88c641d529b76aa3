"""Lines of text set by hand: runs, lines, blocks, and the sheet that rich can print.

Conventions: widths count terminal cells, heights lines. A `Block` is a tuple of lines, a `Line` a
tuple of runs, and nothing here adds trailing blanks unless it says so. Text from outside (names of
ports, paths, messages) goes through `clean` first. Tones name what a run is for; the colours are
chosen in one table, and every tone also differs without colour by bold, dim or not at all: the
words carry the meaning.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from rich.cells import cell_len, set_cell_size
from rich.console import Console, ConsoleOptions, RenderResult
from rich.measure import Measurement
from rich.segment import Segment
from rich.style import Style


class Tone(StrEnum):
    """What a run of text is for."""

    PLAIN = "plain"
    STRONG = "strong"
    QUIET = "quiet"
    OURS = "ours"  # what livecont plays: printed in red, as rubrics are
    OURS_QUIET = "ours-quiet"  # what livecont will play


RED = "#d2593c"  # contrast above 4 on black and on white

STYLES = {
    Tone.PLAIN: Style.null(),
    Tone.STRONG: Style(bold=True),
    Tone.QUIET: Style(dim=True),
    Tone.OURS: Style(bold=True, color=RED),
    Tone.OURS_QUIET: Style(color=RED),
}


class Run(NamedTuple):
    """Some text in one tone."""

    text: str
    tone: Tone = Tone.PLAIN


Line = tuple[Run, ...]
Block = tuple[Line, ...]

EMPTY: Line = ()

# one sign for one sign, so that nothing moves where only ASCII can be shown
_ASCII = str.maketrans(
    {
        **dict.fromkeys("─\N{MINUS SIGN}", "-"),
        **dict.fromkeys("├┤┴", "|"),
        **dict(zip("█▀▄▒░━", '#"_:.=', strict=True)),
        **dict(zip("●○◐▸♯♭·…", "*o+>#b/~", strict=True)),
        **dict(zip("°ø", "o0", strict=True)),
        **dict(zip("₋₀₁₂₃₄₅₆₇₈₉", "-0123456789", strict=True)),
    }
)


def to_ascii(text: str) -> str:
    """Return text with every sign in ASCII, as many signs as before.

    >>> to_ascii("F♯₄ ─ 3")
    'F#4 - 3'
    """
    return text.translate(_ASCII).encode("ascii", "replace").decode("ascii")


def clean(text: str) -> str:
    r"""Return text from outside without signs that would move the cursor.

    >>> clean("a\tb\x1b[2J")
    'a b?[2J'
    """
    return "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in text)


def line(text: str, tone: Tone = Tone.PLAIN) -> Line:
    """Return a line of one run."""
    return (Run(text, tone),) if text else EMPTY


def width_of(runs: Line) -> int:
    """Return a line's width in cells."""
    return sum(cell_len(run.text) for run in runs)


def crop(runs: Line, width: int) -> Line:
    """Return the line cut to a width; cut text ends with a sign of omission."""
    if width_of(runs) <= width:
        return runs
    kept: list[Run] = []
    room = width
    for run in runs:
        cells = cell_len(run.text)
        if cells >= room:
            if room > 0:
                kept.append(Run(set_cell_size(run.text, room - 1) + "…", run.tone))
            break
        kept.append(run)
        room -= cells
    return tuple(kept)


def pad(runs: Line, width: int) -> Line:
    """Return the line cut or filled with blanks to exactly a width."""
    cells = width_of(runs)
    if cells > width:
        return pad(crop(runs, width), width)
    return (*runs, Run(" " * (width - cells))) if cells < width else runs


def indent(block: Block, cells: int) -> Block:
    """Return the block moved to the right; empty lines stay empty."""
    margin = Run(" " * cells)
    return tuple((margin, *runs) if runs else EMPTY for runs in block)


def spread(left: Line, right: Line, width: int) -> Line:
    """Return a line with one part at each end; where both don't fit, the left part is cut."""
    right = crop(right, width)
    room = width - width_of(right)
    if room < 2:  # a gap and one sign
        return right
    return (*pad(crop(left, room - 2), room), *right)


def beside(left: Block, left_width: int, right: Block) -> Block:
    """Return two blocks side by side, the right one beginning at `left_width`."""
    lines: list[Line] = []
    for i in range(max(len(left), len(right))):
        a = left[i] if i < len(left) else EMPTY
        b = right[i] if i < len(right) else EMPTY
        lines.append((*pad(a, left_width), *b) if b else a)
    return tuple(lines)


def fill(words: Iterable[str], width: int, tone: Tone = Tone.PLAIN, gap: str = " ") -> Block:
    """Return words set in lines no wider than `width`; a longer word is cut."""
    lines: list[str] = []
    current = ""
    for word in words:
        joined = f"{current}{gap}{word}" if current else word
        if current and cell_len(joined) > width:
            lines.append(current)
            current = word
        else:
            current = joined
    if current:
        lines.append(current)
    return tuple(crop(line(text, tone), width) for text in lines)


def to_height(block: Block, height: int) -> Block:
    """Return the block cut or filled with empty lines to exactly a height."""
    return block[: max(0, height)] + (EMPTY,) * (height - len(block))


@dataclass(frozen=True, slots=True)
class Sheet:
    """A page for rich: lines that are already as wide as they should be."""

    lines: Block
    width: int

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the segments, in ASCII where the output can't show more."""
        plain = options.ascii_only or options.legacy_windows
        for runs in self.lines:
            for text, tone in runs:
                yield Segment(to_ascii(text) if plain else text, STYLES[tone])
            yield Segment.line()

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        """Return the width it was set in."""
        return Measurement(self.width, self.width)
