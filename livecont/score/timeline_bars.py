"""Where the bars of a score start, though the reading library tells it part by part.

Conventions: the library counts time in whole divisions whose number to the quarter may change;
here it becomes exact quarters. Parts that disagree on where bars start (one of them left a bar
unfilled, or filled it beyond its end) are set right bar by bar: a bar is as long as most say.
"""

from __future__ import annotations

import bisect
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from livecont.errors import ScoreError
from livecont.music.score import Bar, Meter, Score, Stretch
from livecont.score.musicxml import BarMark
from livecont.score.untrusted import clean_text

# a file whose divisions hold no thirds rounds them by so little; 256ths are told apart
ROUNDED_Q = Fraction(1, 400)
SIMPLEST = 64
# for each sheet, where its own bars start and where they are to start
Moves = dict[int, list[tuple[Fraction, Fraction]]]


class Clock:
    """Turns the divisions of a part into quarters."""

    def __init__(self, durations: Iterable[Sequence[Any]]) -> None:
        self._changes: list[tuple[int, int, Fraction]] = []
        at_q = Fraction(0)
        for at, quarter in durations:
            if self._changes:
                before, length, start = self._changes[-1]
                at_q = start + Fraction(int(at) - before, length)
            if int(quarter) <= 0:
                raise ScoreError("a quarter of no length")
            self._changes.append((int(at), int(quarter), at_q))

    def quarters(self, at: int) -> Fraction:
        """Return a place in quarters from the part's beginning."""
        index = bisect.bisect_right(self._changes, at, key=lambda change: change[0]) - 1
        if index < 0:
            return Fraction(0)
        begin, length, start = self._changes[index]
        return start + Fraction(int(at) - begin, length)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One of the library's parts, and which of our parts and staves it is."""

    source: Any
    part: int
    only_staff: int | None  # the staff that it is; None: its notes tell
    staves_above: int  # of other parts, where staves are numbered through the page
    clock: Clock


def bars_of(sheets: Sequence[Sheet]) -> tuple[list[Bar], Moves]:
    """Return the bars, and for each sheet where its own bars start and where they are to start."""
    own: list[list[tuple[str, Fraction, Fraction]]] = []
    for sheet in sheets:
        rows = []
        for bar in sheet.source.measures:
            if bar.start is None or bar.end is None:
                continue
            if bar.end.t <= bar.start.t and bar.name is None:
                continue  # a bar line within a bar, or behind the last
            start, end = (sheet.clock.quarters(point.t) for point in (bar.start, bar.end))
            name = bar.name if bar.name not in (None, "") else bar.number
            rows.append((clean_text(str(name), 8), start, end))
        own.append(rows)
    if not any(own):
        raise ScoreError("no bar with anything in it")
    most = max(len(rows) for rows in own)
    leader = next(rows for rows in own if len(rows) == most)
    alike = [rows for rows in own if len(rows) == most]
    bars = []
    at_q = Fraction(0)
    for index in range(most):
        length = _agreed([rows[index][2] - rows[index][1] for rows in alike])
        bars.append(Bar(number=leader[index][0], start_q=at_q, length_q=length))
        at_q += length
    moves = {}
    for number, rows in enumerate(own):
        if len(rows) == most:
            moves[id(sheets[number])] = [
                (row[1], bar.start_q) for row, bar in zip(rows, bars, strict=True)
            ]
        else:
            moves[id(sheets[number])] = [(Fraction(0), Fraction(0))]
    return bars, moves


def _agreed(lengths: Sequence[Fraction]) -> Fraction:
    """Return the length of a bar that most parts tell; of several the longest."""
    return max(lengths, key=lambda length: (lengths.count(length), length))


class Mover:
    """Turns a sheet's divisions into quarters of the whole; places come mostly in order."""

    def __init__(self, sheet: Sheet, moves: Moves) -> None:
        self._clock = sheet.clock
        self._moves = moves[id(sheet)]
        self._at = 0

    def __call__(self, at: int) -> Fraction:
        """Return a place in quarters from the beginning of the first bar."""
        return _simple(self._place(at))

    def _place(self, at: int) -> Fraction:
        own_q = self._clock.quarters(at)
        while self._at + 1 < len(self._moves) and self._moves[self._at + 1][0] <= own_q:
            self._at += 1
        while self._at and self._moves[self._at][0] > own_q:
            self._at -= 1
        from_q, to_q = self._moves[self._at]
        return max(Fraction(0), own_q - from_q + to_q)


def _simple(at_q: Fraction) -> Fraction:
    """Return the third that is meant by 341 of 1024 divisions, and the like."""
    if at_q.denominator <= SIMPLEST:
        return at_q
    near_q = at_q.limit_denominator(SIMPLEST)
    return near_q if abs(near_q - at_q) <= ROUNDED_Q else at_q


def with_pickups(bars: list[Bar], meters: tuple[Meter, ...]) -> tuple[Bar, ...]:
    """Mark the upbeat, and what completes a bar that a repeat sign divides."""
    score = Score(parts=(), notes=(), bars=(), meters=meters)
    result = []
    owed_q = Fraction(0)  # what the bar before left unfinished
    for index, bar in enumerate(bars):
        full_q = score.meter_at(bar.start_q).bar_q
        short = bar.length_q < full_q
        pickup = short and (index == 0 or bar.length_q == owed_q)
        result.append(replace(bar, pickup=pickup))
        owed_q = full_q - bar.length_q if short and not pickup else Fraction(0)
    return tuple(result)


def repeats_of(marks: Sequence[BarMark], bars: Sequence[Bar]) -> tuple[Stretch, ...]:
    """Return what is repeated; where no sign begins it, it is from the last repeat's end on."""
    found = []
    start_q = Fraction(0)
    for mark in marks:
        if mark.bar >= len(bars):
            continue
        at_q = bars[mark.bar].end_q if mark.after else bars[mark.bar].start_q
        if mark.what == "repeat-start":
            start_q = at_q
        elif mark.what == "repeat-end":
            found.append(Stretch(start_q=start_q, end_q=at_q))
            start_q = at_q
    return tuple(found)


def endings_of(marks: Sequence[BarMark], bars: Sequence[Bar]) -> tuple[Stretch, ...]:
    """Return the first, second … endings, each with the number that its bracket shows."""
    found = []
    begun: tuple[Fraction, str] | None = None
    for mark in marks:
        if mark.bar >= len(bars):
            continue
        bar = bars[mark.bar]
        if mark.what == "ending-start":
            begun = (bar.start_q, mark.text)
        elif mark.what == "ending-end":
            start_q, text = begun or (bar.start_q, mark.text)
            found.append(Stretch(start_q=start_q, end_q=bar.end_q, text=text))
            begun = None
    return tuple(found)
