"""What there is to tell of a sequence on paper: its label, its numerals, its main notes.

The harmonies of the pattern's link hold in every link that is its image; those of a cadence are
read off its notes. Roots move with the notes, by whatever they move.

Conventions: as in `extending`; places in quarters, exact. The main notes are a part of their own,
numbered behind the others, the bass on its second staff.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from livecont.music.harmony import Harmony, Quality, harmony_on
from livecont.music.numeral import numerals
from livecont.music.pitch import Spelling
from livecont.music.score import Part, Score, ScoreNote
from livecont.sequence.analysis import Analysis, analysed
from livecont.sequence.endings_course import Spelled
from livecont.sequence.extending import Extension, Span, Whose
from livecont.sequence.extending_paper import Template
from livecont.sequence.pattern import Position

MAIN_NOTES = "main notes"
FINEST = 96
NEAR_UNITS = 0.02
CHORD = (0, 2, 4, 6)
PLAIN = (Quality.MAJOR, Quality.MINOR, Quality.DIMINISHED)
MIDDLE_C = 60
SURE = 0.8  # of what sounds in a stretch of a cadence belongs to the chord that is named


@dataclass(frozen=True, slots=True, kw_only=True)
class Numeral:
    """A roman numeral at a place."""

    at_q: Fraction
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What there is to tell; `main` are the main notes, of the part behind the score's own."""

    analysis: Analysis
    numerals: tuple[Numeral, ...]
    main: tuple[ScoreNote, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stretch:
    """One harmony's time in a link, and what it is; None where that is not clear."""

    start_q: Fraction
    end_q: Fraction
    harmony: Harmony | None


def told_of(extension: Extension) -> Told:
    """Return what there is to tell of a passage, its new links among it."""
    analysis = analysed(extension.passage.pattern)
    part = len(extension.score.parts)
    names: list[Numeral] = []
    main: list[ScoreNote] = []
    spans = [span for span in extension.spans if span.whose is not Whose.PIECE]
    base = _base(extension, analysis)
    stretches = [_stretches(extension, span, analysis, base) for span in spans]
    for index, (span, row) in enumerate(zip(spans, stretches, strict=True)):
        following = stretches[index + 1] if index + 1 < len(spans) else []
        names += _numerals(extension, row, following)
        main += _main_notes(extension, span, analysis, row, part)
    return Told(analysis=analysis, numerals=tuple(names), main=_joined(_on_staves(main)))


def with_main_notes(score: Score, told: Told) -> Score:
    """Return a score with the main notes as its last part."""
    if not told.main:
        return score
    staves = max(note.staff for note in told.main)
    notes = sorted((*score.notes, *told.main), key=_order)
    return replace(
        score,
        parts=(*score.parts, Part(name=MAIN_NOTES, staves=staves)),
        notes=tuple(notes),
    )


def _order(note: ScoreNote) -> tuple[Fraction, int, int, int, bool, int]:
    return note.onset_q, note.part, note.staff, note.voice, not note.grace, note.spelling.staff


# --- which note is which -------------------------------------------------------------------------


def spelled_in(extension: Extension, span: Span) -> Spelled:
    """Return the pitches of a link, one for each position of the pattern, None where it has none.

    A note is the image of a position that begins as it does, on the same staff and in the same
    voice, and lies as far from where that last was as most notes of the voice do. Where voices are
    numbered otherwise from link to link, they are left aside.
    """
    by_voice, by_staff = (_images(extension, span, voiced=voiced) for voiced in (True, False))
    return by_staff if by_voice.count(None) > by_staff.count(None) else by_voice


def _images(extension: Extension, span: Span, *, voiced: bool) -> Spelled:
    pattern, templates = extension.passage.pattern, extension.passage.templates

    def lane(one: ScoreNote | Template) -> tuple[int, int, int]:
        return one.part, one.staff, one.voice if voiced else 0

    there: dict[tuple[Fraction, tuple[int, int, int]], list[Spelling]] = {}
    for note in extension.moving(span):
        there.setdefault((note.onset_q - span.start_q, lane(note)), []).append(note.spelling)
    latest = [_latest(position, pattern.step_degrees) for position in pattern.positions]
    away: dict[tuple[int, int, int], Counter[int]] = {}
    for staff, one in zip(latest, templates, strict=True):
        pitches = there.get((one.offset_q, lane(one)), ())
        away.setdefault(lane(one), Counter()).update(pitch.staff - staff for pitch in pitches)
    found: list[Spelling | None] = []
    for staff, one in zip(latest, templates, strict=True):
        moved = away[lane(one)].most_common(1)
        pitches = there.get((one.offset_q, lane(one)), ())
        image = (pitch for pitch in pitches if pitch.staff - staff == moved[0][0])
        found.append(next(image, None))
    return tuple(found)


def _latest(position: Position, step: int) -> int:
    """The staff place of a position in the last link, where it would be if it was not heard."""
    known = len(position.heard)
    for back in range(known):
        heard = position.heard[known - 1 - back]
        if heard is not None:
            return heard.staff + back * step
    return 0


def _base(extension: Extension, analysis: Analysis) -> Spelled:
    """The pitches of the link that the analysis is of."""
    spans = {span.number: span for span in extension.spans}
    return spelled_in(extension, spans[analysis.link])


def _moved_by(spelled: Spelled, base: Spelled) -> int | None:
    """Return by how many staff places most notes of a link lie away from the analysed one."""
    away = Counter(
        one.staff - other.staff
        for one, other in zip(spelled, base, strict=True)
        if one is not None and other is not None
    )
    return away.most_common(1)[0][0] if away else None


# --- harmonies -----------------------------------------------------------------------------------


def _stretches(
    extension: Extension, span: Span, analysis: Analysis, base: Spelled
) -> list[_Stretch]:
    starts = [_exact(extension, harmony.start_units) for harmony in analysis.harmonies]
    starts = [span.start_q + start_q for start_q in starts]
    away = _moved_by(spelled_in(extension, span), base)
    cadence = span.whose is Whose.CADENCE
    if cadence:
        final_q = max((note.onset_q for note in extension.moving(span)), default=span.start_q)
        last = span == extension.spans[-1]
        held = [n for n in extension.moving(span) if last and n.onset_q == final_q]
        starts = [start_q for start_q in starts if not held or start_q < final_q]
        starts = sorted({*starts, *([final_q] if held else [])}) or [span.start_q]
    result = []
    for index, start_q in enumerate(starts):
        end_q = starts[index + 1] if index + 1 < len(starts) else span.end_q
        span_q = (start_q, end_q)
        harmony = None
        if cadence:
            harmony = _harmony_read(extension, span_q)
        elif away is not None:
            known = analysis.harmonies[index]
            root = (known.root.letter + away) % 7
            harmony = _harmony(extension, root, span_q, known.seventh)
        result.append(_Stretch(start_q=start_q, end_q=end_q, harmony=harmony))
    return result


def _sounding(
    extension: Extension, start_q: Fraction, end_q: Fraction
) -> list[tuple[Fraction, Spelling]]:
    """What sounds in a stretch, with how long it does."""
    who = extension.passage
    near = extension.score.within(max(Fraction(0), start_q - who.unit_q), end_q)
    result = []
    for note in near:
        lasts_q = min(end_q, note.end_q) - max(start_q, note.onset_q)
        if lasts_q > 0 and not note.grace:
            result.append((lasts_q, note.spelling))
    return result


def _harmony(
    extension: Extension, root: int, span: tuple[Fraction, Fraction], seventh: bool | None
) -> Harmony | None:
    """The harmony on a root in a stretch; whether it has a seventh, its notes say where None."""
    sounding = _sounding(extension, *span)
    if not sounding:
        return None
    members = [s for _, s in sounding if (s.letter - root) % 7 in CHORD]
    if seventh is None:
        seventh = any((s.letter - root) % 7 == CHORD[-1] for _, s in sounding)
    return harmony_on(
        root,
        [s for _, s in sorted(sounding, key=lambda one: -one[0])],
        min(members, key=lambda s: s.midi, default=None),
        extension.passage.pattern.key,
        seventh=seventh,
    )


def _harmony_read(extension: Extension, span_q: tuple[Fraction, Fraction]) -> Harmony | None:
    """Return the plain chord that most of what sounds belongs to, None where that is not clear."""
    sounding = _sounding(extension, *span_q)
    total = sum((lasts for lasts, _ in sounding), Fraction(0))
    if not total:
        return None
    bass = min((s for _, s in sounding), key=lambda s: s.midi).letter

    def share(root: int, places: tuple[int, ...]) -> Fraction:
        mine = (lasts for lasts, s in sounding if (s.letter - root) % 7 in places)
        return sum(mine, Fraction(0)) / total

    def worth(root: int) -> tuple[Fraction, Fraction, bool]:
        whole = share(root, CHORD[:3]) + share(root, CHORD[3:]) * Fraction(9, 10)
        return whole, share(root, CHORD[:2]), root == bass

    for root in sorted(range(7), key=worth, reverse=True):
        harmony = _harmony(extension, root, span_q, None)
        if worth(root)[0] >= SURE and harmony is not None and harmony.quality in PLAIN:
            return harmony
    return None


def _numerals(
    extension: Extension, row: Sequence[_Stretch], following: Sequence[_Stretch]
) -> Iterator[Numeral]:
    key = extension.passage.pattern.key
    after = following[0].harmony if following else None
    clear = [(stretch, stretch.harmony) for stretch in row if stretch.harmony is not None]
    if not clear:
        return
    names = numerals([harmony for _, harmony in clear], key, after)
    for (stretch, _), name in zip(clear, names, strict=True):
        yield Numeral(at_q=stretch.start_q, text=name)


# --- main notes ----------------------------------------------------------------------------------


def _main_notes(
    extension: Extension,
    span: Span,
    analysis: Analysis,
    row: Sequence[_Stretch],
    part: int,
) -> Iterator[ScoreNote]:
    if span.whose is Whose.CADENCE:
        top = max((note.voice for note in analysis.reduction), default=1) + 1
        yield from _outer_notes(extension, row, part, max(2, top))
        return
    spelled = spelled_in(extension, span)
    for note in analysis.reduction:
        pitch = spelled[note.position]
        start_q = _exact(extension, note.offset_units)
        length_q = _exact(extension, note.offset_units + note.duration_units) - start_q
        if pitch is None or length_q <= 0:
            continue
        yield ScoreNote(
            onset_q=span.start_q + start_q,
            duration_q=length_q,
            spelling=pitch,
            part=part,
            voice=note.voice + 1,
        )


def _outer_notes(
    extension: Extension, row: Sequence[_Stretch], part: int, top: int
) -> Iterator[ScoreNote]:
    for stretch in row:
        pitches = [s for _, s in _sounding(extension, stretch.start_q, stretch.end_q)]
        if not pitches:
            continue
        lowest, highest = min(pitches), max(pitches)
        for pitch in dict.fromkeys((lowest, highest)):
            yield ScoreNote(
                onset_q=stretch.start_q,
                duration_q=stretch.end_q - stretch.start_q,
                spelling=pitch,
                part=part,
                voice=1 if pitch == lowest else top,
            )


def _on_staves(notes: Sequence[ScoreNote]) -> list[ScoreNote]:
    """Write each voice on the staff where it lies: the bass below, the highest above."""
    heights: dict[int, list[int]] = {}
    for note in notes:
        heights.setdefault(note.voice, []).append(note.spelling.midi)
    if len(heights) < 2:
        return list(notes)
    low = {v for v, pitches in heights.items() if sum(pitches) / len(pitches) < MIDDLE_C}
    low = (low | {min(heights)}) - {max(heights)}
    return [replace(note, staff=2 if note.voice in low else 1) for note in notes]


def _exact(extension: Extension, units: float) -> Fraction:
    """Return a place in a link in quarters: that of the note that begins there, where one does."""
    passage = extension.passage
    places = [
        (abs(position.offset_units - units), template.offset_q)
        for position, template in zip(passage.pattern.positions, passage.templates, strict=True)
    ]
    places.append((abs(1.0 - units), passage.unit_q))
    away, near_q = min(places)
    if away < NEAR_UNITS:
        return near_q
    return Fraction(round(units * float(passage.unit_q) * FINEST), FINEST)


def _joined(notes: Sequence[ScoreNote]) -> tuple[ScoreNote, ...]:
    """Cut what lasts into the next note of its voice, as a voice sings one note at a time."""
    result = []
    for note in notes:
        following = [
            other.onset_q
            for other in notes
            if (other.staff, other.voice) == (note.staff, note.voice)
            and other.onset_q > note.onset_q
        ]
        end_q = min([note.end_q, *following])
        result.append(replace(note, duration_q=end_q - note.onset_q))
    return tuple(sorted(result, key=_order))
