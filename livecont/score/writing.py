"""Writing scores as MusicXML: what any notation program opens.

Conventions: MusicXML 4.0, partwise (W3C Community Group), plain or compressed (.mxl). Bars, metre,
key, voices and staves are the score's; ties, dots, tuplets, beams, accidentals, clefs and rests
follow from its notes. Nothing that is in the way is overwritten unless that is asked for.
"""

from __future__ import annotations

import bisect
import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm
from pathlib import Path
from typing import TypeVar
from xml.sax.saxutils import escape

from livecont.errors import ScoreError
from livecont.music.score import Bar, Mark, Meter, Score, ScoreNote, Signature
from livecont.score.files import write_new
from livecont.score.writing_beams import (
    ALTO,
    BASS,
    TREBLE,
    Accidentals,
    Clef,
    beams_of,
    clefs_of,
)  # fmt: skip
from livecont.score.writing_lanes import LaneBar, bars_to_write, in_bar, lanes_of
from livecont.score.writing_notes import PLAIN, Look, NoteWriter

COMPRESSED = ".mxl"
MOST_DIVISIONS = 2**20
# where places are so odd that no divisions hold them all, the oddest are drawn to a grid
GRID_Q = Fraction(1, 96)
USUAL = 2**8 * 3**2 * 5 * 7
_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC'
    ' "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_CONTAINER = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
    '<rootfile full-path="score.musicxml"'
    ' media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>\n'
)
# instruments that are written in the alto clef (common practice)
_MIDDLE = re.compile(r"\bviola\b|bratsche|\balto\b", re.IGNORECASE)
# and those that keep the treble or the bass clef, wherever a passage lies (common practice)
_HIGH = re.compile(r"\bviolin[eio]?s?\b|\bflutes?\b|\bflauto\b|\boboes?\b", re.IGNORECASE)
_LOW = re.compile(r"cello\b|\bviolone\b|\b(contra)?bass(o|oon)?\b|\bfagott", re.IGNORECASE)
_ENDING = re.compile(r"[1-9][0-9]*(, ?[1-9][0-9]*)*")
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
_Change = TypeVar("_Change", Meter, Signature)
_FIXED = (1980, 1, 1, 0, 0, 0)  # the same score is the same file


def _clefs_for(name: str) -> tuple[Clef, ...]:
    """Return the clefs that a part on one staff may have, by its name.

    >>> [clef.sign for clef in _clefs_for("Violin II")]
    ['G']
    """
    if _MIDDLE.search(name):
        return (ALTO,)
    if _LOW.search(name):
        return (BASS,)
    return (TREBLE,) if _HIGH.search(name) else (TREBLE, BASS)


def write_musicxml(score: Score, path: Path, *, title: str = "", force: bool = False) -> None:
    """Write a score to a file: .mxl compressed, any other name plain.

    Raises:
        ScoreError: it can't be written, or something is there already.
    """
    data = musicxml_of(score, title=title).encode("utf-8")
    if path.suffix.lower() == COMPRESSED:
        data = packed(data)
    write_new(path, data, force=force)


def packed(data: bytes) -> bytes:
    """Return a MusicXML document in its archive."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (
            ("META-INF/container.xml", _CONTAINER.encode()),
            ("score.musicxml", data),
        ):
            archive.writestr(zipfile.ZipInfo(name, _FIXED), content, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()


def musicxml_of(score: Score, *, title: str = "", look: Look = PLAIN) -> str:
    """Return a score as a MusicXML document.

    Args:
        score: what to write.
        title: stands above it.
        look: colours and names of notes.

    Raises:
        ScoreError: nothing to write.
    """
    if not score.parts:
        raise ScoreError("a score without a part can't be written")
    layout = _laid_out(score)
    if layout.divisions > MOST_DIVISIONS:
        score = _drawn(score)
        layout = _laid_out(score)
    listed = "".join(
        f'<score-part id="P{number}"><part-name>{text(part.name)}</part-name></score-part>'
        for number, part in enumerate(score.parts, 1)
    )
    parts = []
    for number in range(len(score.parts)):
        writer = _PartWriter(score, number, layout, look)
        parts.append(f'<part id="P{number + 1}">{"".join(writer.bars())}</part>')
    head = f"<work><work-title>{text(title)}</work-title></work>" if title else ""
    return (
        f'{_HEAD}<score-partwise version="4.0">{head}'
        "<identification><encoding><software>livecont</software></encoding></identification>"
        f"<part-list>{listed}</part-list>{''.join(parts)}</score-partwise>\n"
    )


def text(words: str) -> str:
    """Return words as they may stand in XML."""
    return escape(_FORBIDDEN.sub("", words), {'"': "&quot;"})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Layout:
    """What is written: the bars, and for each part and bar its rows of signs.

    `divisions` of a quarter make every length a whole number.
    """

    bars: tuple[Bar, ...]
    parts: tuple[list[list[LaneBar]], ...]
    divisions: int


def _laid_out(score: Score) -> _Layout:
    bars = bars_to_write(score)
    by_part: list[list[ScoreNote]] = [[] for _ in score.parts]
    for note in score.notes:
        by_part[note.part].append(note)
    parts = tuple(lanes_of(score, part, notes, bars) for part, notes in enumerate(by_part))
    lengths = {
        sign.length_q.denominator
        for rows in parts
        for bar in rows
        for row in bar
        for sign in row.signs
    }
    lengths |= {at_q.denominator for bar in bars for at_q in (bar.start_q, bar.length_q)}
    lengths |= {mark.at_q.denominator for mark in score.marks}
    return _Layout(bars=bars, parts=parts, divisions=lcm(*lengths))


def _drawn(score: Score) -> Score:
    def near(at_q: Fraction) -> Fraction:
        return at_q if USUAL % at_q.denominator == 0 else round(at_q / GRID_Q) * GRID_Q

    def note_near(note: ScoreNote) -> ScoreNote:
        onset_q = near(note.onset_q)
        lasts_q = Fraction(0) if note.grace else max(GRID_Q, near(note.end_q) - onset_q)
        return replace(note, onset_q=onset_q, duration_q=lasts_q)

    bars = tuple(
        replace(bar, start_q=near(bar.start_q), length_q=near(bar.end_q) - near(bar.start_q))
        for bar in score.bars
    )
    marks = tuple(replace(mark, at_q=near(mark.at_q)) for mark in score.marks)
    return replace(score, notes=tuple(map(note_near, score.notes)), bars=bars, marks=marks)


def _place(change: Meter | Signature) -> Fraction:
    return change.at_q


class _PartWriter:
    """Writes a part, bar by bar."""

    def __init__(self, score: Score, part: int, layout: _Layout, look: Look) -> None:
        self._score, self._part, self._bars = score, part, layout.bars
        self._rows, self._divisions = layout.parts[part], layout.divisions
        self._look = look
        self._staves = score.parts[part].staves
        self._clefs = [self._clefs_on(staff) for staff in range(1, self._staves + 1)]
        self._fifths = 0
        self._altered: dict[tuple[int, int], int] = {}

    def bars(self) -> Iterator[str]:
        """Yield the part's bars."""
        for index, bar in enumerate(self._bars):
            number = text(bar.number) or str(index + 1)
            implicit = ' implicit="yes"' if bar.pickup else ""
            yield f'<measure number="{number}"{implicit}>'
            yield self._barline(bar, "left")
            yield self._attributes(index)
            yield from self._filled(index)
            yield self._barline(bar, "right")
            yield "</measure>\n"

    def _clefs_on(self, staff: int) -> tuple[Clef, ...]:
        bars = [
            [
                note.spelling.staff
                for row in rows
                for sign in row.signs
                for note in sign.notes
                if note.staff == staff
            ]
            for rows in self._rows
        ]
        single = self._staves == 1
        usual = TREBLE if staff == 1 else BASS
        if not single:
            return clefs_of(bars, (TREBLE, BASS), usual)
        every = [place for bar in bars for place in bar]
        # a part on one staff keeps one clef
        return clefs_of([every], _clefs_for(self._score.parts[self._part].name), TREBLE) * len(bars)

    def _attributes(self, index: int) -> str:
        bar = self._bars[index]
        inside = ""
        if index == 0:
            inside += f"<divisions>{self._divisions}</divisions>"
        sign = self._change(self._score.signatures, index)
        if sign is not None:
            self._fifths = sign.fifths
            mode = f"<mode>{sign.mode}</mode>" if sign.mode else ""
            inside += f"<key><fifths>{sign.fifths}</fifths>{mode}</key>"
        meter = self._change(self._score.meters, index)
        if meter is None and index == 0:
            meter = self._score.meter_at(bar.start_q)
        if meter is not None:
            inside += (
                f"<time><beats>{meter.beats}</beats><beat-type>{meter.beat_type}</beat-type></time>"
            )
        if index == 0 and self._staves > 1:
            inside += f"<staves>{self._staves}</staves>"
        inside += "".join(self._clef_signs(index))
        if index == 0 and self._part in self._look.small:
            for staff in range(1, self._staves + 1):
                inside += (
                    f'<staff-details number="{staff}"><staff-size>72</staff-size></staff-details>'
                )
        return f"<attributes>{inside}</attributes>" if inside else ""

    def _clef_signs(self, index: int) -> Iterator[str]:
        for staff, clefs in enumerate(self._clefs, 1):
            clef = clefs[index]
            if index == 0 or clef != clefs[index - 1]:
                which = f' number="{staff}"' if self._staves > 1 else ""
                yield (f"<clef{which}><sign>{clef.sign}</sign><line>{clef.line}</line></clef>")

    def _change(self, changes: Sequence[_Change], index: int) -> _Change | None:
        """Return the last change in a bar: it counts from the bar's beginning."""
        bar = self._bars[index]
        last = index + 1 == len(self._bars)
        at = len(changes) if last else bisect.bisect_left(changes, bar.end_q, key=_place)
        found = changes[at - 1] if at else None
        return found if found is not None and found.at_q >= bar.start_q else None

    def _filled(self, index: int) -> Iterator[str]:
        bar, rows = self._bars[index], self._rows[index]
        meter = self._score.meter_at(bar.start_q)
        writer = NoteWriter(
            bar=index,
            divisions=self._divisions,
            staves=self._staves,
            look=self._look,
            accidentals=self._accidentals(rows, in_bar(self._score, bar, bar.start_q)),
        )
        back = f"<backup>{writer.duration(bar.length_q)}</backup>"
        marks = self._marks(index)
        for mark in marks:
            if mark.at_q == bar.start_q:
                yield self._words(mark)
        for number, row in enumerate(rows):
            if number:
                yield back
            yield from writer.row(number, row, beams_of(row, meter))
        for mark in marks:
            if mark.at_q != bar.start_q:
                yield back
                yield f"<forward>{writer.duration(mark.at_q - bar.start_q)}</forward>"
                yield self._words(mark)
                rest = bar.end_q - mark.at_q
                yield f"<forward>{writer.duration(rest)}</forward>" if rest else ""

    def _marks(self, index: int) -> list[Mark]:
        bar, last = self._bars[index], index + 1 == len(self._bars)
        return [
            mark
            for mark in self._score.marks
            if mark.part == self._part
            and bar.start_q <= mark.at_q
            and (mark.at_q < bar.end_q or (last and mark.at_q == bar.end_q))
        ]

    def _words(self, mark: Mark) -> str:
        side = "below" if mark.below else "above"
        staff = self._staves if mark.below else 1
        return (
            f'<direction placement="{side}"><direction-type><words>{text(mark.text)}</words>'
            f"</direction-type><staff>{staff}</staff></direction>"
        )

    def _accidentals(
        self, rows: Sequence[LaneBar], begin_q: Fraction
    ) -> dict[tuple[int, int, ScoreNote], str]:
        """Return which accidentals are printed, in order of time through all voices."""
        in_force = Accidentals(fifths=self._fifths, before=self._altered)
        found: dict[tuple[int, int, ScoreNote], str] = {}
        signs = sorted(
            (sign.start_q, number, index)
            for number, row in enumerate(rows)
            for index, sign in enumerate(row.signs)
        )
        for start_q, number, index in signs:
            sign = rows[number].signs[index]
            held = sign.tied_from and start_q == begin_q
            for note in (*sign.before, *(() if held else sign.notes)):
                shown = in_force.shown(note.spelling, note.staff)
                if shown is not None:
                    found[number, index, note] = shown
        self._altered = in_force.altered
        return found

    def _barline(self, bar: Bar, side: str) -> str:
        left = side == "left"
        at_q = bar.start_q if left else bar.end_q
        inside = ""
        for ending in self._score.endings:
            edge_q = ending.start_q if left else ending.end_q
            if edge_q == at_q and _ENDING.fullmatch(ending.text):
                kind = "start" if left else "stop"
                inside += f'<ending number="{ending.text}" type="{kind}"/>'
        for repeat in self._score.repeats:
            edge_q = repeat.start_q if left else repeat.end_q
            if edge_q == at_q and not (left and at_q == 0):
                inside += f'<repeat direction="{"forward" if left else "backward"}"/>'
        if not inside:
            return ""
        style = (
            ""
            if "repeat" not in inside
            else (f"<bar-style>{'heavy-light' if left else 'light-heavy'}</bar-style>")
        )
        return f'<barline location="{side}">{style}{inside}</barline>'
