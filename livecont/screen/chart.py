"""The chain at a glance: a column a link, its main notes and how clear it is, one under the other.

So the eye can follow each voice down the chain. The link of the moment is always among them, as
many before it as are known and have room, the rest after it.

Conventions: a cell a harmony within a link's column, so that voices and numerals stand over each
other. Rows that have nothing to say are left out; where height is short, the first ones are kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from livecont.screen.moment import link_now
from livecont.screen.once import once_each
from livecont.screen.typeset import Block, Line, Run, Tone, crop
from livecont.screen.wording_chain import main_names, marked_clear, printed
from livecont.sequence.pattern import Link, Pattern, Role
from livecont.sitting.explanation import Explanation, LinkTold, MainTold
from livecont.sitting.snapshot import Phase, Snapshot

_TITLES = ("main", "notes", "figures", "chords", "in", "clear")
_WANTED = (0, 1, 3, 4, 5, 2)  # which rows are kept where not all have room
_HEAD = 9  # the rows' titles
_GAP = 3  # between links
_LEAST_WIDTH = 4 + _GAP  # of a link: '87 %'
LEAST_HEIGHT = 2
_Rows = tuple[tuple[str, ...], ...]  # cells, a harmony each or one in all
_NO_ROWS: _Rows = ((), (), (), (), ())


class _Column(NamedTuple):
    """A link in the chart; `texts` in the order of the titles, empty where it has no such row."""

    head: str
    tone: Tone
    texts: tuple[str, ...]
    width: int


def _column(number: int, now: bool, tone: Tone, rows: _Rows) -> _Column:
    """Set a link's rows, cells of the same harmony in one place."""
    head = f"{number} ▸" if now else str(number)
    texts = _set(rows)
    return _Column(head, tone, texts, max(map(len, (head, *texts))))


def _set(rows: _Rows) -> tuple[str, ...]:
    count = max(map(len, rows))
    full = [row for row in rows if len(row) == count]
    wide = [max(map(len, cells)) for cells in zip(*full, strict=True)]
    return tuple(
        "  ".join(cell.ljust(w) for cell, w in zip(row, wide, strict=False)).rstrip()
        for row in rows
    )


def chart(snapshot: Snapshot, width: int, height: int) -> Block:
    """Return the chart in at most `height` lines; nothing where it would say nothing."""
    if snapshot.pattern is None or snapshot.phase is Phase.ENDED or height < LEAST_HEIGHT:
        return ()
    columns = _columns(snapshot, snapshot.pattern, (width - _HEAD) // _LEAST_WIDTH + 1)
    kept = sorted([i for i in _WANTED if any(c.texts[i] for c in columns)][: height - 1])
    if not kept:
        return ()
    shown = _shown(columns, width - _HEAD)
    lines = [_line("link", [column.head for column in shown], shown)]
    lines += [_line(_TITLES[i], [column.texts[i] for column in shown], shown) for i in kept]
    return tuple(crop(runs, width) for runs in lines)


def _line(title: str, texts: Sequence[str], columns: Sequence[_Column]) -> Line:
    wide = [column.width + _GAP for column in columns[:-1]] + [0]  # no blanks after the last
    runs = [
        Run(text.ljust(cells), column.tone)
        for text, cells, column in zip(texts, wide, columns, strict=True)
    ]
    return (Run(title.ljust(_HEAD), Tone.QUIET), *runs)


def _columns(snapshot: Snapshot, pattern: Pattern, most: int) -> list[_Column]:
    """The links that could be shown: of those past and to come as many as there may be room for."""
    now, explanation = link_now(snapshot), snapshot.explanation
    last = now.number if now is not None else pattern.links_heard
    coming = [link for link in snapshot.coming if link.number > last][:most]
    links = [*snapshot.past, *([now] if now is not None else []), *coming]
    first = links[0].number if links else pattern.links_heard + 1
    # before the step was counted as it is now it was another chain
    earliest = max(1, last - most, snapshot.kind_from - 1)
    found = []
    for number in range(earliest, first):
        told = None if explanation is None else explanation.link(number)
        if told is not None:
            found.append(_column(number, False, Tone.PLAIN, _rows(told, None)))
    peak = first - 1
    for link in links:
        if link.role in (Role.CHAIN, Role.FOLDED):
            peak = link.number
        if link.number < earliest:
            continue
        tone = Tone.OURS if link is now else Tone.PLAIN if link.number < last else Tone.QUIET
        rows = _rows(_told(explanation, link, peak), link.clarity)
        found.append(_column(link.number, link is now, tone, rows))
    return found


def _told(explanation: Explanation | None, link: Link, peak: int) -> LinkTold | None:
    """What a link is; on the way back the links come again, the latest first."""
    if explanation is None or link.role is Role.CADENCE:
        return None
    return explanation.link(2 * peak - link.number if link.role is Role.TURNED else link.number)


def _rows(told: LinkTold | None, clarity: float | None) -> _Rows:
    clear = () if clarity is None else (marked_clear(clarity),)
    return (*(_NO_ROWS if told is None else _told_rows(told)), clear)


@once_each
def _told_rows(told: LinkTold) -> _Rows:
    harmonies = told.harmonies
    voices = min((len(one.voices) for one in harmonies), default=0)
    upper = tuple(_names(one.voices[0]) for one in harmonies) if voices else ()
    lower = tuple(_names(one.voices[-1]) for one in harmonies) if voices > 1 else ()
    figures = tuple(one.figures for one in harmonies)
    numerals = tuple(one.numeral for one in harmonies)
    key = () if told.key is None else (printed(told.key),)
    return upper, lower, figures if any(figures) else (), numerals, key


def _names(notes: Sequence[MainTold]) -> str:
    return main_names(notes) or "·"


def _shown(columns: list[_Column], room: int) -> list[_Column]:
    """The link of the moment, one before it, those after it, then more before it."""
    at = next((i for i, column in enumerate(columns) if column.tone is not Tone.PLAIN), 0)
    chosen: set[int] = set()
    for i in (at, at - 1, *range(at + 1, len(columns)), *range(at - 2, -1, -1)):
        if 0 <= i < len(columns):
            room -= columns[i].width + (_GAP if chosen else 0)
            if room < 0:
                break
            chosen.add(i)
    return [column for i, column in enumerate(columns) if i in chosen]
