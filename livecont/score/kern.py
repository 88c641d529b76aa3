"""Reading Humdrum **kern: spines that run down the page become parts, staves and voices.

A row's time is where the strands that have a new note in it stand; so neither other spines nor
rows for words alone disturb the count.

Conventions: as in `kern_tokens` and `music.score`. The spine furthest right is the highest on the
page. Spines of one `*part`, and the two of a keyboard instrument, are staves of one part.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from livecont.errors import ScoreError
from livecont.music.pitch import Spelling
from livecont.music.score import Bar, Meter, Part, Score, ScoreNote, Signature
from livecont.score.kern_tokens import (
    Token,
    fifths_of,
    meter_of,
    mode_of,
    number_of,
    repeats_at,
    token_of,
)
from livecont.score.musicxml import BarMark
from livecont.score.timeline import MOST_QUARTERS, distinct_names
from livecont.score.timeline_bars import repeats_of, with_pickups
from livecont.score.untrusted import MOST_SPINES, clean_text

FINEST, SIMPLEST = 20_000, 960
_KEYBOARD = re.compile(
    r"piano|pfte|cembal|cemba|harps|clav|klav|organ|orgel|keyb|spinet|celest|harp", re.IGNORECASE
)


@dataclass(slots=True)
class _Spine:
    """What a column of the first row is, and whose."""

    number: int
    part: str = ""
    name: str = ""
    code: str = ""

    @property
    def keyboard(self) -> bool:
        """Whether it is a staff of a keyboard instrument."""
        return bool(_KEYBOARD.search(f"{self.name} {self.code}"))


@dataclass(slots=True)
class _Strand:
    """A column at some moment: of which spine, whether it has notes, up to where it is filled."""

    spine: _Spine
    notes: bool
    until_q: Fraction = Fraction(0)


@dataclass(slots=True)
class _Raw:
    """A note before its part and staff are known."""

    spine: int
    voice: int
    onset_q: Fraction
    end_q: Fraction
    spelling: Spelling
    grace: bool


@dataclass(slots=True)
class _Reading:
    """What has been read so far."""

    strands: list[_Strand]
    spines: list[_Spine]
    notes: list[_Raw] = field(default_factory=list)
    tied: dict[tuple[int, Spelling], _Raw] = field(default_factory=dict)
    bars: list[Bar] = field(default_factory=list)
    marks: list[BarMark] = field(default_factory=list)
    meters: list[Meter] = field(default_factory=list)
    signatures: list[Signature] = field(default_factory=list)
    number: str | None = None  # of the bar that is being read

    @property
    def now_q(self) -> Fraction:
        """How far the fullest strand is filled."""
        return max((s.until_q for s in self.strands if s.notes), default=self.bar_start_q)

    @property
    def bar_start_q(self) -> Fraction:
        """Where the bar that is being read starts."""
        return self.bars[-1].end_q if self.bars else Fraction(0)


def read_kern(rows: Sequence[Sequence[str]]) -> Score:
    """Return a Humdrum file's **kern spines as a score.

    Args:
        rows: the file's cells, without comments and empty lines.

    Raises:
        ScoreError: its columns don't fit, or a cell makes no sense.
    """
    spines = [_Spine(number) for number in range(len(rows[0]))]
    strands = [
        _Strand(spine, cell == "**kern") for spine, cell in zip(spines, rows[0], strict=True)
    ]
    reading = _Reading(strands, spines)
    for number, row in enumerate(rows[1:], 2):
        if not reading.strands:
            break  # every spine has ended
        where = f"row {number}"
        if len(row) != len(reading.strands):
            raise ScoreError(f"{where}: {len(row)} columns where {len(reading.strands)} run")
        if row[0].startswith("*"):
            _interpret(reading, row)
        elif row[0].startswith("="):
            _bar_line(reading, row[0])
        else:
            _sound(reading, row, where)
        if reading.now_q > MOST_QUARTERS:
            raise ScoreError(f"longer than {MOST_QUARTERS} quarters: no piece")
    _close_bar(reading, reading.now_q)
    return _score(reading)


# --- notes ---------------------------------------------------------------------------------------


def _sound(reading: _Reading, row: Sequence[str], where: str) -> None:
    found: list[tuple[_Strand, int, Token]] = []
    voices: dict[int, int] = {}
    for strand, cell in zip(reading.strands, row, strict=True):
        if not strand.notes:
            continue
        number = strand.spine.number
        voices[number] = voices.get(number, 0) + 1
        if cell != ".":
            found.append((strand, voices[number], token_of(cell, where)))
    if not found:
        return
    at_q = max(strand.until_q for strand, _, _ in found)
    for strand, voice, token in found:
        _place(reading, strand, voice, at_q, token)
    for strand, _, token in found:
        if not token.grace:
            until_q = at_q + token.length_q
            if until_q.denominator > FINEST:
                until_q = until_q.limit_denominator(SIMPLEST)
            strand.until_q = until_q


def _place(reading: _Reading, strand: _Strand, voice: int, at_q: Fraction, token: Token) -> None:
    spine = strand.spine.number
    for pitch, tie in zip(token.pitches, token.tied, strict=True):
        end_q = at_q + token.length_q
        begun = reading.tied.pop((spine, pitch), None) if tie in ("_", "]") else None
        if begun is not None and begun.end_q == at_q:
            begun.end_q = end_q
        else:
            begun = _Raw(spine, voice, at_q, end_q, pitch, token.grace)
            reading.notes.append(begun)
        if tie in ("[", "_") and not token.grace:
            reading.tied[spine, pitch] = begun


# --- signs ---------------------------------------------------------------------------------------


def _interpret(reading: _Reading, row: Sequence[str]) -> None:
    """Apply a row of signs, then let spines divide, join, change places, begin and end."""
    for strand, cell in zip(reading.strands, row, strict=True):
        if strand.notes:
            _sign(reading, strand.spine, cell)
    after: list[_Strand] = []
    joined: _Strand | None = None
    for strand, cell in zip(reading.strands, row, strict=True):
        if cell == "*v" and joined is not None and joined.spine is strand.spine:
            joined.until_q = max(joined.until_q, strand.until_q)
            continue
        joined = strand if cell == "*v" else None
        after += _following(reading, strand, cell)
    exchanged = [strand for strand, cell in zip(reading.strands, row, strict=True) if cell == "*x"]
    if len(exchanged) == 2 and len(after) == len(row):
        one, other = (after.index(strand) for strand in exchanged)
        after[one], after[other] = after[other], after[one]
    if len(after) > MOST_SPINES:
        raise ScoreError(f"{len(after)} spines: more than {MOST_SPINES} are not read")
    if not any(strand.notes for strand in after):
        _close_bar(reading, reading.now_q)
    reading.strands = after


def _following(reading: _Reading, strand: _Strand, cell: str) -> list[_Strand]:
    """Return what stands in the next row for a strand."""
    if cell == "*-":
        return []
    if cell.startswith("**"):
        strand.notes = cell == "**kern"
    if cell == "*^":
        return [strand, _Strand(strand.spine, strand.notes, strand.until_q)]
    if cell == "*+":
        reading.spines.append(_Spine(len(reading.spines)))
        return [strand, _Strand(reading.spines[-1], False, strand.until_q)]
    return [strand]


def _sign(reading: _Reading, spine: _Spine, cell: str) -> None:
    at_q = reading.now_q
    meter, fifths, mode = meter_of(cell), fifths_of(cell), mode_of(cell)
    if meter is not None:
        _change_meter(reading.meters, Meter(at_q=at_q, beats=meter[0], beat_type=meter[1]))
    elif fifths is not None:
        _change_signature(reading.signatures, at_q, fifths)
    elif mode is not None and reading.signatures and reading.signatures[-1].at_q == at_q:
        reading.signatures[-1] = replace(reading.signatures[-1], mode=mode)
    elif cell.startswith("*part"):
        spine.part = cell
    elif cell.startswith('*I"'):
        spine.name = spine.name or clean_text(cell[3:])
    elif cell.startswith("*I") and not spine.code and cell[2:3].islower():
        spine.code = clean_text(cell[2:], 12)


def _change_meter(meters: list[Meter], sign: Meter) -> None:
    """Take in a metre unless it is in force; of two at one place the later holds."""
    if meters and meters[-1].at_q == sign.at_q:
        meters.pop()
    if not meters or replace(meters[-1], at_q=sign.at_q) != sign:
        meters.append(sign)


def _change_signature(signatures: list[Signature], at_q: Fraction, fifths: int) -> None:
    """Take in a key signature unless it is in force: every spine has it."""
    if signatures and signatures[-1].fifths == fifths:
        return
    if signatures and signatures[-1].at_q == at_q:
        signatures.pop()
    signatures.append(Signature(at_q=at_q, fifths=fifths))


def _bar_line(reading: _Reading, cell: str) -> None:
    at_q = reading.now_q
    following = number_of(cell)
    if reading.number is None:
        counted = following is not None and following.isdecimal()
        reading.number = str(int(following) - 1) if counted and following else "1"
        if at_q == reading.bar_start_q:
            reading.number = following or "1"
    ends, begins = repeats_at(cell)
    closed = _close_bar(reading, at_q)
    if ends and reading.bars:
        reading.marks.append(BarMark(bar=len(reading.bars) - 1, after=True, what="repeat-end"))
    if begins:
        reading.marks.append(BarMark(bar=len(reading.bars), after=False, what="repeat-start"))
    if following is not None and (closed or not reading.bars):
        reading.number = following


def _close_bar(reading: _Reading, at_q: Fraction) -> bool:
    start_q = reading.bar_start_q
    if at_q <= start_q:
        return False
    number = reading.number or "1"
    reading.bars.append(Bar(number=clean_text(number, 8), start_q=start_q, length_q=at_q - start_q))
    for strand in reading.strands:
        strand.until_q = max(strand.until_q, at_q)  # whoever is behind has left something out
    return True


# --- parts ---------------------------------------------------------------------------------------


def _score(reading: _Reading) -> Score:
    used = sorted({note.spine for note in reading.notes}, reverse=True)
    places, names = _places([reading.spines[number] for number in used])
    notes = [
        ScoreNote(
            onset_q=note.onset_q,
            duration_q=Fraction(0) if note.grace else note.end_q - note.onset_q,
            spelling=note.spelling,
            part=places[note.spine][0],
            staff=places[note.spine][1],
            voice=note.voice,
            grace=note.grace,
        )
        for note in reading.notes
    ]
    notes.sort(key=lambda n: (n.onset_q, n.part, n.staff, n.voice, not n.grace, n.spelling.staff))
    staves = [max(s for p, s in places.values() if p == part) for part in range(len(names))]
    meters = tuple(reading.meters)
    return Score(
        parts=tuple(
            Part(name=name, staves=count)
            for name, count in zip(distinct_names(names), staves, strict=True)
        ),
        notes=tuple(notes),
        bars=with_pickups(reading.bars, meters),
        meters=meters,
        signatures=tuple(reading.signatures),
        repeats=repeats_of(reading.marks, reading.bars),
    )


def _places(spines: Sequence[_Spine]) -> tuple[dict[int, tuple[int, int]], list[str]]:
    """Return part and staff of each spine, and the parts' names, from the top of the page."""
    places: dict[int, tuple[int, int]] = {}
    names: list[str] = []
    before: _Spine | None = None
    nameless = len(spines) == 2 and not any(s.part or s.name or s.code for s in spines)
    for spine in spines:
        same = before is not None and (
            (spine.part == before.part and bool(spine.part))
            or (spine.part == before.part and _one_instrument(spine, before))
            or nameless
        )
        if same and before is not None:
            part, staff = places[before.number]
            places[spine.number] = part, staff + 1
            names[part] = names[part] or spine.name
        else:
            places[spine.number] = len(names), 1
            names.append(spine.name or spine.code)
        before = spine
    return places, names


def _one_instrument(one: _Spine, other: _Spine) -> bool:
    return one.keyboard and (one.name, one.code) == (other.name, other.code)
