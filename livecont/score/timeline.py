"""From the reading library's timeline to our own values.

Conventions: the library counts time in whole divisions whose number to the quarter may change;
here it becomes exact quarters. Parts that disagree on where bars start (one of them left a bar
unfilled, or filled it beyond its end) are set right bar by bar: a bar is as long as most say.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from livecont.errors import ScoreError
from livecont.music.pitch import LETTERS, Spelling, spell_at
from livecont.music.score import Bar, Meter, Part, Score, ScoreNote, Signature, Stretch
from livecont.score.musicxml import BarMark
from livecont.score.untrusted import clean_text

MOST_QUARTERS = 100_000  # a day of music
MOST_FIFTHS = 7
_HIGHEST = 127


class _Clock:
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
        for begin, length, start in reversed(self._changes):
            if at >= begin:
                return start + Fraction(int(at) - begin, length)
        return Fraction(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """One of the library's parts, and which of our parts and staves it is."""

    source: Any
    part: int
    first_staff: int | None  # the staff that it is; None: its notes tell
    clock: _Clock


def to_score(
    sources: Sequence[Any], marks: Sequence[BarMark] = (), names: Sequence[str] = ()
) -> Score:
    """Return the library's score as ours.

    Args:
        sources: the library's parts and groups of parts, in the order printed.
        marks: repeats and endings, by the bars of the first part.
        names: the parts' names, where the library does not read them.

    Raises:
        ScoreError: no bars, or beyond all measure.
    """
    sheets, parts = _sheets(sources, names)
    if not sheets:
        raise ScoreError("no part in it")
    bars, moves = _bars(sheets)
    notes = [note for sheet in sheets for note in _notes(sheet, moves)]
    notes.sort(key=lambda n: (n.onset_q, n.part, n.staff, n.voice, not n.grace, n.spelling.staff))
    meters = _meters(sheets, moves)
    staves = [1] * len(parts)
    for note in notes:
        staves[note.part] = max(staves[note.part], note.staff)
    score = Score(
        parts=tuple(
            Part(name=name, staves=count) for name, count in zip(parts, staves, strict=True)
        ),
        notes=tuple(notes),
        bars=_with_pickups(bars, meters),
        meters=meters,
        signatures=_signatures(sheets, moves),
        repeats=_repeats(marks, bars),
        endings=_endings(marks, bars),
    )
    if score.length_q > MOST_QUARTERS:
        raise ScoreError(f"longer than {MOST_QUARTERS} quarters: no piece")
    return score


def _sheets(sources: Sequence[Any], names: Sequence[str]) -> tuple[list[_Sheet], list[str]]:
    sheets: list[_Sheet] = []
    parts: list[str] = []
    for source in sources:
        leaves = list(_leaves(source))
        places: list[tuple[int, int | None]] = []
        if len(leaves) > 1 and getattr(source, "group_symbol", None) == "brace":
            parts.append(clean_text(source.group_name))  # staves of one instrument
            places += [(len(parts) - 1, staff) for staff in range(1, len(leaves) + 1)]
        else:
            for leaf in leaves:
                parts.append(clean_text(leaf.part_name))
                places.append((len(parts) - 1, None))
        for leaf, (part, staff) in zip(leaves, places, strict=True):
            clock = _Clock(leaf.quarter_durations())
            sheets.append(_Sheet(source=leaf, part=part, first_staff=staff, clock=clock))
    if names and len(names) == len(parts):
        parts = [clean_text(name) for name in names]
    return sheets, distinct_names(parts)


def _leaves(source: Any) -> Iterable[Any]:
    children = getattr(source, "children", None)
    if children is None:
        yield source
    else:
        for child in children:
            yield from _leaves(child)


def distinct_names(names: Sequence[str]) -> list[str]:
    """Return the parts' names, told apart by numbers where several are alike or empty.

    >>> distinct_names(["Violin", "Violin", ""])
    ['Violin 1', 'Violin 2', 'part 3']
    """
    result: list[str] = []
    for index, given in enumerate(names):
        name = given or f"part {index + 1}"
        if given and names.count(given) > 1:
            name = f"{given} {names[: index + 1].count(given)}"
        while name in result:
            name += "'"
        result.append(name)
    return result


def _bars(sheets: Sequence[_Sheet]) -> tuple[list[Bar], dict[int, list[tuple[Fraction, Fraction]]]]:
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


class _Mover:
    """Turns a sheet's divisions into quarters of the whole; places come mostly in order."""

    def __init__(self, sheet: _Sheet, moves: dict[int, list[tuple[Fraction, Fraction]]]) -> None:
        self._clock = sheet.clock
        self._moves = moves[id(sheet)]
        self._at = 0

    def __call__(self, at: int) -> Fraction:
        own_q = self._clock.quarters(at)
        while self._at + 1 < len(self._moves) and self._moves[self._at + 1][0] <= own_q:
            self._at += 1
        while self._at and self._moves[self._at][0] > own_q:
            self._at -= 1
        from_q, to_q = self._moves[self._at]
        return max(Fraction(0), own_q - from_q + to_q)


def _notes(sheet: _Sheet, moves: dict[int, list[tuple[Fraction, Fraction]]]) -> Iterable[ScoreNote]:
    from partitura.score import GraceNote, Note, Transposition

    mover = _Mover(sheet, moves)
    shifts = [
        (shift.start.t, int(shift.diatonic or 0), int(shift.chromatic or 0))
        for shift in sheet.source.iter_all(Transposition)
    ]
    lowest = min(
        (n.staff for n in sheet.source.iter_all(Note, include_subclasses=True) if n.staff),
        default=1,
    )
    for note in sheet.source.iter_all(Note, include_subclasses=True):
        if note.tie_prev is not None or note.step is None or note.octave is None:
            continue
        spelled = _sounding(note, shifts)
        if not 0 <= spelled.midi <= _HIGHEST:
            raise ScoreError(f"a note {spelled.name} that no instrument has")
        grace = isinstance(note, GraceNote)
        onset_q = mover(note.start.t)
        end_q = onset_q if grace else mover(_tied_end(note))
        staff = sheet.first_staff or (note.staff or 1) - (lowest - 1 if lowest > 1 else 0)
        yield ScoreNote(
            onset_q=onset_q,
            duration_q=max(Fraction(0), end_q - onset_q),
            spelling=spelled,
            part=sheet.part,
            staff=staff,
            voice=note.voice or 1,
            grace=grace,
        )


def _sounding(note: Any, shifts: Sequence[tuple[int, int, int]]) -> Spelling:
    staff = 7 * int(note.octave) + LETTERS.index(str(note.step).upper())
    written = Spelling(staff, int(note.alter or 0))
    in_force = [shift for shift in shifts if shift[0] <= note.start.t]
    if not in_force:
        return written
    _, diatonic, chromatic = in_force[-1]
    return spell_at(written.midi + chromatic, staff + diatonic)


def _tied_end(note: Any) -> int:
    """Follow the ties, however many, and no circle of them."""
    seen = {id(note)}
    while note.tie_next is not None and id(note.tie_next) not in seen:
        note = note.tie_next
        seen.add(id(note))
    return int(note.end.t)


def _meters(
    sheets: Sequence[_Sheet], moves: dict[int, list[tuple[Fraction, Fraction]]]
) -> tuple[Meter, ...]:
    sheet = sheets[0]
    mover = _Mover(sheet, moves)
    found = [
        Meter(at_q=mover(sign.start.t), beats=int(sign.beats), beat_type=int(sign.beat_type))
        for sign in sheet.source.time_sigs
        if sign.beats and sign.beat_type
    ]
    return tuple(_changes(found, lambda m: (m.beats, m.beat_type)))


def _signatures(
    sheets: Sequence[_Sheet], moves: dict[int, list[tuple[Fraction, Fraction]]]
) -> tuple[Signature, ...]:
    """The signatures as they sound, from the first part that is written as it sounds."""
    from partitura.score import Transposition

    sheet = next((one for one in sheets if not list(one.source.iter_all(Transposition))), sheets[0])
    shift = next(iter(sheet.source.iter_all(Transposition)), None)
    fifths = 7 * int(shift.chromatic or 0) - 12 * int(shift.diatonic or 0) if shift else 0
    mover = _Mover(sheet, moves)
    found = [
        Signature(
            at_q=mover(sign.start.t),
            fifths=int(sign.fifths or 0) + fifths,
            mode=sign.mode if sign.mode in ("major", "minor") else None,
        )
        for sign in sheet.source.key_sigs
        if abs(int(sign.fifths or 0) + fifths) <= MOST_FIFTHS
    ]
    return tuple(_changes(found, lambda s: (s.fifths, s.mode)))


def _changes(found: list[Any], told: Any) -> Iterable[Any]:
    """The last sign of each place, without those that change nothing."""
    before = None
    for index, sign in enumerate(found):
        if index + 1 < len(found) and found[index + 1].at_q == sign.at_q:
            continue
        if told(sign) != before:
            before = told(sign)
            yield sign


def _with_pickups(bars: list[Bar], meters: tuple[Meter, ...]) -> tuple[Bar, ...]:
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


def _repeats(marks: Sequence[BarMark], bars: Sequence[Bar]) -> tuple[Stretch, ...]:
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


def _endings(marks: Sequence[BarMark], bars: Sequence[Bar]) -> tuple[Stretch, ...]:
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
