"""What is written bar by bar: each voice as a row of notes, chords and rests without overlaps.

A voice of the score stays one where its notes follow each other; what overlaps is told apart into
voices of its own. What lasts beyond a bar is divided, and tied.

Conventions: as in `writing_rhythm`; `Sign.start_q` counts from the bar's beginning. Bars are those
of the score, and as many more as its notes last.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from livecont.music.score import Bar, Score, ScoreNote
from livecont.score.writing_rhythm import Tuplet, Value, periods_of, tuplets_of, values_of

MOST_MORE_BARS = 1000
WHOLE_Q = Fraction(4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """What is written at one place: a note, a chord, a rest (no notes), or grace notes alone.

    `before` are grace notes written before it; `value` None means that there is nothing else.
    `silent` rests are kept by leaving room.
    """

    start_q: Fraction
    value: Value | None
    notes: tuple[ScoreNote, ...] = ()
    tied_from: bool = False
    tied_on: bool = False
    before: tuple[ScoreNote, ...] = ()
    silent: bool = False

    @property
    def length_q(self) -> Fraction:
        """How long it lasts."""
        return self.value.length_q if self.value is not None else Fraction(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneBar:
    """A voice's signs in a bar; they fill it."""

    voice: int
    staff: int  # where its rests stand
    signs: tuple[Sign, ...]
    tuplets: tuple[Tuplet, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Chord:
    """Notes that begin and end together; of no length: grace notes."""

    onset_q: Fraction
    end_q: Fraction
    notes: tuple[ScoreNote, ...]


@dataclass(slots=True)
class _Lane:
    voice: int
    chords: list[_Chord]


def bars_to_write(score: Score) -> tuple[Bar, ...]:
    """Return the score's bars, and those that its notes need besides."""
    bars = list(score.bars)
    end_q = max((note.end_q for note in score.notes), default=Fraction(0))
    at_q = bars[-1].end_q if bars else Fraction(0)
    number = len(bars)
    while (at_q < end_q or not bars) and len(bars) < len(score.bars) + MOST_MORE_BARS:
        number += 1
        length_q = score.meter_at(at_q).bar_q
        bars.append(Bar(number=str(number), start_q=at_q, length_q=length_q))
        at_q += length_q
    return tuple(bars)


def lanes_of(
    score: Score, part: int, notes: Sequence[ScoreNote], bars: Sequence[Bar]
) -> list[list[LaneBar]]:
    """Return what each bar of a part holds, a row for each voice that has a note in it.

    A staff on which nobody plays in a bar gets a row with a rest. `notes` are the part's.
    """
    found: list[list[LaneBar]] = [[] for _ in bars]
    for lane in _lanes(notes):
        for index, chords in _by_bar(lane.chords, bars):
            found[index].append(_laid_out(score, lane.voice, chords, bars[index]))
    spare = max((lane.voice for bar in found for lane in bar), default=0)
    for bar, rows in zip(bars, found, strict=True):
        _quiet_seconds(rows)
        played = {note.staff for row in rows for sign in row.signs for note in sign.notes}
        for staff in range(1, score.parts[part].staves + 1):
            if staff not in played:
                rows.append(_whole_rest(score, bar, staff, spare + staff))
        rows.sort(key=lambda row: (row.staff, row.voice))
    return found


def in_bar(score: Score, bar: Bar, at_q: Fraction) -> Fraction:
    """Return a place from where the bar's metre begins, which in a pickup lies before its start."""
    missing_q = score.meter_at(bar.start_q).bar_q - bar.length_q if bar.pickup else Fraction(0)
    return at_q - bar.start_q + max(Fraction(0), missing_q)


# --- voices -------------------------------------------------------------------------------------


def _lanes(notes: Sequence[ScoreNote]) -> list[_Lane]:
    """Tell voices apart until none of them overlaps itself."""
    voices: dict[int, list[ScoreNote]] = {}
    for note in notes:
        voices.setdefault(note.voice, []).append(note)
    free = max(voices, default=0) + 1
    lanes: list[_Lane] = []
    for voice in sorted(voices):
        groups = [voices[voice]]
        staves = sorted({note.staff for note in groups[0]})
        if len(staves) > 1 and len(_rows(groups[0])) > 1:
            # no voice that crosses the staves, but voices that are counted staff by staff
            groups = [[n for n in groups[0] if n.staff == staff] for staff in staves]
        for index, row in enumerate(row for group in groups for row in _rows(group)):
            lanes.append(_Lane(voice if index == 0 else free, row))
            free += index > 0
    return lanes


def _rows(notes: Sequence[ScoreNote]) -> list[list[_Chord]]:
    """Lay chords in as few rows as they need; each goes where its neighbours are near."""
    rows: list[list[_Chord]] = []
    for chord in _chords(notes):
        open_rows = [row for row in rows if row[-1].end_q <= chord.onset_q]
        if open_rows:
            min(open_rows, key=lambda row: (_apart(row[-1], chord), row[-1].end_q)).append(chord)
        else:
            rows.append([chord])
    return rows


def _chords(notes: Iterable[ScoreNote]) -> list[_Chord]:
    """What begins and ends together is a chord; the same pitch twice is not."""
    together: dict[tuple[Fraction, bool, Fraction], list[list[ScoreNote]]] = {}
    for note in notes:
        lasts = Fraction(0) if note.grace else note.duration_q
        if not note.grace and lasts <= 0:
            continue
        chords = together.setdefault((note.onset_q, not note.grace, lasts), [])
        if note.grace and chords:
            chords[0].append(note)  # one after the other
            continue
        for chord in chords:
            if all(other.spelling.staff != note.spelling.staff for other in chord):
                chord.append(note)
                break
        else:
            chords.append([note])
    found = [
        _Chord(onset_q=onset_q, end_q=onset_q + lasts, notes=tuple(chord))
        for (onset_q, _, lasts), chords in together.items()
        for chord in chords
    ]
    found.sort(key=lambda chord: (chord.onset_q, chord.end_q > chord.onset_q, -_height(chord)))
    return found


def _height(chord: _Chord) -> float:
    return sum(note.spelling.staff for note in chord.notes) / len(chord.notes)


def _apart(one: _Chord, other: _Chord) -> float:
    if one.end_q == one.onset_q == other.onset_q:
        return -1.0  # grace notes and what they lead to
    return abs(_height(one) - _height(other))


def _by_bar(chords: Sequence[_Chord], bars: Sequence[Bar]) -> Iterator[tuple[int, list[_Chord]]]:
    """Yield the bars that chords sound in, with the chords."""
    within: dict[int, list[_Chord]] = {}
    index = 0
    for chord in chords:
        while index + 1 < len(bars) and bars[index].end_q <= chord.onset_q:
            index += 1
        at = index
        within.setdefault(at, []).append(chord)
        while at + 1 < len(bars) and bars[at].end_q < chord.end_q:
            at += 1
            within.setdefault(at, []).append(chord)
    yield from within.items()


# --- bars ---------------------------------------------------------------------------------------


def _laid_out(score: Score, voice: int, chords: Sequence[_Chord], bar: Bar) -> LaneBar:
    begin_q = in_bar(score, bar, bar.start_q)
    end_q = begin_q + bar.length_q
    pieces: list[tuple[Fraction, Fraction, _Chord | None]] = []
    at_q = begin_q
    for chord in chords:
        start_q = max(begin_q, in_bar(score, bar, chord.onset_q))
        stop_q = min(end_q, in_bar(score, bar, chord.end_q))
        if start_q > at_q:
            pieces.append((at_q, start_q, None))
        pieces.append((start_q, stop_q, chord))
        at_q = max(at_q, stop_q)
    if at_q < end_q:
        pieces.append((at_q, end_q, None))
    periods = periods_of(score.meter_at(bar.start_q))
    tuplets = tuplets_of(
        [(a_q, b_q, one is None) for a_q, b_q, one in pieces if b_q > a_q], periods
    )
    signs: list[Sign] = []
    waiting: tuple[ScoreNote, ...] = ()
    for a_q, b_q, one in pieces:
        if a_q == b_q:
            waiting += one.notes if one is not None else ()
            continue
        made = _signs(a_q, b_q, one, bar, values_of(a_q, b_q, periods, tuplets, rest=one is None))
        if waiting:
            made[0] = _with_graces(made[0], waiting)
            waiting = ()
        signs += made
    if waiting:
        signs.append(Sign(start_q=end_q, value=None, before=waiting))
    return LaneBar(voice=voice, staff=_staff(chords), signs=tuple(signs), tuplets=tuplets)


def _signs(
    start_q: Fraction, end_q: Fraction, chord: _Chord | None, bar: Bar, values: Sequence[Value]
) -> list[Sign]:
    if chord is None:
        return [Sign(start_q=value.start_q, value=value) for value in values]
    from_before = chord.onset_q < bar.start_q
    goes_on = chord.end_q > bar.end_q
    return [
        Sign(
            start_q=value.start_q,
            value=value,
            notes=chord.notes,
            tied_from=from_before or value.start_q > start_q,
            tied_on=goes_on or value.end_q < end_q,
        )
        for value in values
    ]


def _with_graces(sign: Sign, graces: tuple[ScoreNote, ...]) -> Sign:
    return Sign(
        start_q=sign.start_q,
        value=sign.value,
        notes=sign.notes,
        tied_from=sign.tied_from,
        tied_on=sign.tied_on,
        before=graces,
    )


def _staff(chords: Sequence[_Chord]) -> int:
    return min(note.staff for chord in chords for note in chord.notes)


def _whole_rest(score: Score, bar: Bar, staff: int, voice: int) -> LaneBar:
    """A bar's rest, whatever the metre, is written as a whole one; an unfinished bar's is not."""
    begin_q = in_bar(score, bar, bar.start_q)
    meter = score.meter_at(bar.start_q)
    values: tuple[Value, ...] = (Value(start_q=begin_q, length_q=bar.length_q, name=None),)
    if bar.length_q != meter.bar_q:
        # a whole rest alone is read as a full bar's, however short this one is
        cuts = [begin_q, begin_q + bar.length_q]
        if bar.length_q == WHOLE_Q:
            cuts.insert(1, begin_q + WHOLE_Q / 2)
        periods = periods_of(meter)
        values = tuple(
            value
            for start_q, end_q in pairwise(cuts)
            for value in values_of(start_q, end_q, periods, rest=True)
        )
    signs = tuple(Sign(start_q=value.start_q, value=value) for value in values)
    return LaneBar(voice=voice, staff=staff, signs=signs)


def _quiet_seconds(rows: list[LaneBar]) -> None:
    """Where a staff has several voices, one of them writes its rests, the others leave room."""
    for staff in {row.staff for row in rows}:
        mine = [row for row in rows if row.staff == staff]
        leader = max(mine, key=lambda row: (_sounding(row), -row.voice))
        for row in mine:
            if row is not leader and len(mine) > 1:
                rows[rows.index(row)] = _with_room(row)


def _sounding(row: LaneBar) -> Fraction:
    return sum((sign.length_q for sign in row.signs if sign.notes), Fraction(0))


def _with_room(row: LaneBar) -> LaneBar:
    signs = tuple(
        sign
        if sign.notes or sign.value is None or sign.before or sign.value.tuplet is not None
        else Sign(start_q=sign.start_q, value=sign.value, silent=True)
        for sign in row.signs
    )
    return LaneBar(voice=row.voice, staff=row.staff, signs=signs, tuplets=row.tuplets)
