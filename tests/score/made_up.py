"""Scores made up by hypothesis, and a document as a tree, for the tests of writing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from hypothesis import strategies as st
from lxml import etree

from livecont.music.pitch import Spelling
from livecont.music.score import Bar, Meter, Part, Score, ScoreNote, Signature
from livecont.score.writing import musicxml_of

Q = Fraction

LENGTHS = (Q(1, 4), Q(1, 2), Q(3, 4), Q(1), Q(3, 2), Q(2), Q(5, 2), Q(3), Q(4), Q(7))
TUPLETS = ((Q(1, 3), 3), (Q(1, 6), 3), (Q(1, 5), 5), (Q(2, 3), 3), (Q(1, 7), 7))
METERS = ((4, 4), (3, 4), (6, 8), (2, 2), (9, 8), (5, 4), (3, 8))


@st.composite
def voices(draw: st.DrawFn, number: int, staff: int, until_q: Fraction) -> list[ScoreNote]:
    notes: list[ScoreNote] = []
    at_q = Q(0)
    while at_q < until_q:
        lengths = [draw(st.sampled_from(LENGTHS))]
        if draw(st.integers(0, 3)) == 0 and at_q.denominator in (1, 2):
            unit_q, count = draw(st.sampled_from(TUPLETS))
            lengths = [unit_q] * count
        for length_q in lengths:
            end_q = min(at_q + length_q, until_q)
            places = draw(st.sets(st.integers(21 + 7 * (2 - staff), 38), max_size=2))
            if end_q > at_q:
                notes += [
                    ScoreNote(
                        onset_q=at_q,
                        duration_q=end_q - at_q,
                        spelling=Spelling(place, draw(st.integers(-1, 1))),
                        staff=staff,
                        voice=number,
                    )
                    for place in places
                ]
            at_q = end_q
    return notes


@st.composite
def scores(draw: st.DrawFn) -> Score:
    """Scores of one or two parts, on one or two staves; no voice overlaps itself."""
    bars: list[Bar] = []
    meters: list[Meter] = []
    at_q = Q(0)
    for number in range(draw(st.integers(1, 4))):
        if not meters or draw(st.booleans()):
            beats, kind = draw(st.sampled_from(METERS))
            if not meters or (meters[-1].beats, meters[-1].beat_type) != (beats, kind):
                meters.append(Meter(at_q=at_q, beats=beats, beat_type=kind))
        length_q = meters[-1].bar_q
        pickup = number == 0 and draw(st.booleans())
        if pickup:
            length_q = draw(st.sampled_from([Q(1, 2), Q(1)]))
        bars.append(Bar(number=str(number), start_q=at_q, length_q=length_q, pickup=pickup))
        at_q += length_q
    notes: list[ScoreNote] = []
    parts = []
    for part in range(draw(st.integers(1, 2))):
        for number, staff in enumerate(draw(st.sampled_from([(1,), (1, 1), (1, 2)])), 1):
            line = draw(voices(number, staff, at_q))
            notes += [replace(note, part=part) for note in line]
        own = [note.staff for note in notes if note.part == part]
        parts.append(Part(name=f"part {part}", staves=max(own, default=1)))
    notes = list(_without_unisons(notes))
    notes.append(ScoreNote(onset_q=Q(0), duration_q=at_q, spelling=Spelling(45, 0), voice=9))
    notes.sort(key=lambda n: (n.onset_q, n.part, n.staff, n.voice, not n.grace, n.spelling.staff))
    staves = [max((n.staff for n in notes if n.part == i), default=1) for i in range(len(parts))]
    return Score(
        parts=tuple(replace(p, staves=s) for p, s in zip(parts, staves, strict=True)),
        notes=tuple(notes),
        bars=tuple(bars),
        meters=tuple(meters),
        signatures=(Signature(at_q=Q(0), fifths=draw(st.integers(-7, 7))),),
    )


def _without_unisons(notes: Sequence[ScoreNote]) -> Iterator[ScoreNote]:
    """The reading library ties by pitch alone: one pitch in two voices at once would confuse it."""
    kept: list[ScoreNote] = []
    for note in notes:
        if not any(_at_once(note, other) for other in kept):
            kept.append(note)
            yield note


def _at_once(one: ScoreNote, other: ScoreNote) -> bool:
    if (one.part, one.spelling.midi) != (other.part, other.spelling.midi):
        return False
    if one.voice == other.voice:
        return one.onset_q < other.end_q and other.onset_q < one.end_q
    return one.onset_q <= other.end_q and other.onset_q <= one.end_q


def document(score: Score) -> Any:
    return etree.fromstring(musicxml_of(score).encode("utf-8"))
