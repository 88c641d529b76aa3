"""What is drawn over an engraved system: brackets over links, a ground under new ones, numerals.

New links differ by colour and by shape: a heavy bracket and a ground with dashed edges, where the
composer's have a thin bracket and none, so that it survives a printer without colours.

Conventions: as in `engraving`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from xml.sax.saxutils import escape

from livecont.music.score import Bar
from livecont.score.engraving import STAFF, System

INK, NEW, GROUND, QUIET = "#1a1a1a", "#0a4a8f", "#e6eff9", "#555555"
SIZE = 330.0  # of words over a link
NUMERAL, FIGURE = 400.0, 235.0
ABOVE = 260.0  # from the highest ink to the bracket
HOOK = 150.0
HEAD = 230.0  # how wide a note's head is
BEFORE_NOTE = 190.0  # a link begins so far left of its first note
ROW = 470.0
_NUMERAL = re.compile(
    r"(?P<sign>[#b]*)(?P<name>[IViv]+)(?P<kind>[°ø+]?)(?P<figures>\d(?:/\d)?)?"
    r"(?:/(?P<over>[#b]*[IViv]+[°ø+]?))?"
)
_PRINTED = str.maketrans("#b", "♯♭")
_WIDTHS = {
    "I": 0.4, "i": 0.33, "V": 0.73, "v": 0.58, "/": 0.35, "♯": 0.6, "♭": 0.5, "+": 0.86, "ø": 0.62,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkMark:
    """A link to be marked: of `words`, the longest first, those are written that have room."""

    start_q: Fraction
    end_q: Fraction
    words: tuple[str, ...]
    new: bool
    bracket: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """A numeral, at a place."""

    at_q: Fraction
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """A system with its bars and when its notes begin: by that, places become x."""

    system: System
    bars: tuple[Bar, ...]
    onsets: dict[Fraction, float]

    @property
    def start_q(self) -> Fraction:
        """Where it begins."""
        return self.bars[0].start_q

    @property
    def end_q(self) -> Fraction:
        """Where it ends."""
        return self.bars[-1].end_q

    def x_at(self, at_q: Fraction) -> float:
        """Return where something begins that begins at a place."""
        measures = self.system.measures
        if at_q >= self.end_q:
            return measures[-1].right
        if at_q <= self.start_q:
            return measures[0].first_x - BEFORE_NOTE
        for bar, measure in zip(self.bars, measures, strict=True):
            if at_q == bar.start_q:
                return measure.left
        later = [onset_q for onset_q in self.onsets if onset_q >= at_q]
        if not later:
            return measures[-1].right
        x = self.onsets[min(later)]
        before = [other + HEAD for onset_q, other in self.onsets.items() if onset_q < at_q]
        # halfway between two notes that are close
        return max([x - BEFORE_NOTE, *((x + other) / 2 for other in before if other < x)])

    def note_x(self, at_q: Fraction) -> float | None:
        """Return where the notes stand that begin at a place, None where none does."""
        return self.onsets.get(at_q)


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """A system with what is drawn under and over it; `top` and `bottom` hold all of it."""

    under: str
    drawing: str
    over: str
    top: float
    bottom: float


def marked(timed: Timed, links: Iterable[LinkMark], words: Sequence[Word]) -> Marked:
    """Return a system with its links marked and its numerals beneath."""
    system = timed.system
    bracket_y = min(system.top, system.staves[0].top - STAFF / 4) - ABOVE
    here = [w for w in words if timed.start_q <= w.at_q < timed.end_q]
    numerals, bottom = _numerals(timed, here, system.bottom + 1.25 * NUMERAL)
    under, over = [], [numerals]
    for link in links:
        start_q, end_q = max(link.start_q, timed.start_q), min(link.end_q, timed.end_q)
        if start_q >= end_q:
            continue
        left, right = timed.x_at(start_q), timed.x_at(end_q)
        if link.new:
            under.append(_ground(left, right, bracket_y, bottom))
        begins = link.start_q == start_q
        over.append(_bracket(link, (left, right), bracket_y, begins, link.end_q == end_q))
    return Marked(
        under="".join(under),
        drawing=system.drawing,
        over="".join(over),
        top=bracket_y - SIZE - 160,
        bottom=bottom + 120,
    )


def _ground(left: float, right: float, top: float, bottom: float) -> str:
    edges = "".join(
        f'<path d="M{x:.0f} {top:.0f} V{bottom:.0f}" stroke="{NEW}" stroke-width="16"'
        ' stroke-dasharray="90 90" fill="none"/>'
        for x in (left, right)
    )
    return (
        f'<rect class="ground" x="{left:.0f}" y="{top:.0f}" width="{right - left:.0f}"'
        f' height="{bottom - top:.0f}" fill="{GROUND}" stroke="none"/>{edges}'
    )


def _bracket(link: LinkMark, span: tuple[float, float], y: float, begins: bool, ends: bool) -> str:
    """A bracket, open where the link goes on from or into another system."""
    left, right = span[0] + 45, span[1] - 45
    colour = NEW if link.new else QUIET
    lines = ""
    if link.bracket:
        path = f"M{left:.0f} {y + HOOK:.0f} V{y:.0f}" if begins else f"M{left:.0f} {y:.0f}"
        path += f" H{right:.0f}" + (f" V{y + HOOK:.0f}" if ends else "")
        width = 64 if link.new else 20
        lines = f'<path d="{path}" stroke="{colour}" stroke-width="{width}" fill="none"/>'
    room = right - left
    words = next((words for words in link.words if _wide(words) < room + 60), None)
    if not begins or words is None:
        return lines
    weight = ' font-weight="bold"' if link.new else ""
    kind = "new" if link.new else "given"
    return (
        f'{lines}<text class="link {kind}" x="{left + 20:.0f}" y="{y - 100:.0f}"'
        f' font-size="{SIZE:.0f}" fill="{colour}"{weight}>{escape(words)}</text>'
    )


def _wide(words: str) -> float:
    """About how wide words are."""
    return 0.56 * SIZE * len(words)


# --- numerals ------------------------------------------------------------------------------------


def _numerals(timed: Timed, words: Sequence[Word], y: float) -> tuple[str, float]:
    """Return numerals under a system on one line, or on two where they are close; and its end."""
    placed = []
    for word in words:
        x = timed.note_x(word.at_q)
        placed.append((timed.x_at(word.at_q) + BEFORE_NOTE if x is None else x, word.text))
    crowded = any(x + width_of(text) > other - 60 for (x, text), (other, _) in pairwise(placed))
    drawn = []
    for index, (x, text) in enumerate(placed):
        low = crowded and index % 2 == 1
        drawn.append(numeral_at(x, y + (ROW if low else 0.0), text))
    bottom = y + 60 + (ROW if crowded else 0.0)
    return "".join(drawn), bottom if placed else y - NUMERAL


def numeral_at(x: float, y: float, text: str) -> str:
    """Return a numeral drawn, its figures stacked."""
    parts = _NUMERAL.fullmatch(text)
    if parts is None:
        return _word(x, y, text, NUMERAL)
    name = parts["sign"].translate(_PRINTED) + parts["name"] + parts["kind"]
    drawn = [_word(x, y, name, NUMERAL)]
    at = x + _width(name, NUMERAL)
    figures = (parts["figures"] or "").split("/") if parts["figures"] else []
    for index, figure in enumerate(figures):
        height = 0.55 * NUMERAL if index == 0 else 0.55 * NUMERAL - FIGURE
        drawn.append(_word(at + 20, y - height + 40, figure, FIGURE))
    at += FIGURE * 0.65 if figures else 0.0
    if parts["over"]:
        drawn.append(_word(at, y, "/" + parts["over"].translate(_PRINTED), NUMERAL))
    return f'<g class="numeral" data-numeral="{escape(text)}">{"".join(drawn)}</g>'


def _word(x: float, y: float, text: str, size: float) -> str:
    return (
        f'<text x="{x:.0f}" y="{y:.0f}" font-size="{size:.0f}" fill="{INK}">{escape(text)}</text>'
    )


def _width(text: str, size: float) -> float:
    return size * sum(_WIDTHS.get(sign, 0.5) for sign in text)


def width_of(text: str) -> float:
    """Return about how wide a numeral is."""
    parts = _NUMERAL.fullmatch(text)
    if parts is None:
        return _width(text, NUMERAL)
    over = f"/{parts['over']}" if parts["over"] else ""
    figures = FIGURE * 0.65 if parts["figures"] else 0.0
    return _width(f"{parts['sign']}{parts['name']}{parts['kind']}{over}", NUMERAL) + figures
