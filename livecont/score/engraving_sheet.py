"""A sheet: a sequence on paper, engraved, with its links, numerals and main notes.

Conventions: as in `sequence.extending` and `engraving`. The main notes are a small part of their
own under the others.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from livecont.music.score import Bar, Part, Score, ScoreNote
from livecont.score.engraving import Engraved, engraved
from livecont.score.engraving_marks import NEW, LinkMark, Marked, Timed, Word, marked
from livecont.score.engraving_page import Heading, html_page, svg_page
from livecont.score.writing import musicxml_of
from livecont.score.writing_lanes import bars_to_write
from livecont.score.writing_notes import Look
from livecont.sequence.extending import Extension, Span, Whose
from livecont.sequence.extending_told import Told, with_main_notes

_KINDS = {
    Whose.NEW: "new",
    Whose.FOLDED: "new, an octave away",
    Whose.TURNED: "new, on the way back",
}
# what a library calls a part that has no name
_NAMELESS = ("MusicXML Part", "Instrument", "part 1")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The page, as one HTML document and as one SVG drawing."""

    html: str
    svg: str
    systems: int


def sheet_of(extension: Extension, told: Told, heading: Heading, *, main: bool = True) -> Sheet:
    """Return a passage engraved.

    Args:
        extension: the passage, carried on or not.
        told: what there is to tell of it.
        heading: what stands above it.
        main: whether the main notes have a staff of their own.

    Raises:
        ConfigError: the extra `sheet` is not installed.
        ScoreError: it can't be engraved.
    """
    score = replace(extension.score, marks=(), parts=_named(extension.score.parts))
    if main:
        score = with_main_notes(score, told)
    names = {note: f"n{index}" for index, note in enumerate(dict.fromkeys(score.notes))}
    new = [span for span in extension.spans if span.new]
    colours = {
        note: NEW
        for note in score.notes
        if any(span.start_q <= note.onset_q < span.end_q for span in new)
    }
    small = frozenset({len(extension.score.parts)} if main else ())
    document = musicxml_of(score, look=Look(colours=colours, ids=names, small=small))
    drawn = engraved(document)
    systems = tuple(_marked(extension, told, drawn, score, names))
    legend = bool(new)
    return Sheet(
        html=html_page(heading, drawn, systems, legend),
        svg=svg_page(heading, drawn, systems),
        systems=len(systems),
    )


def _named(parts: tuple[Part, ...]) -> tuple[Part, ...]:
    """A single instrument needs no name, least of all one that nobody gave it."""
    if len(parts) == 1:
        return (replace(parts[0], name=""),)
    return tuple(replace(part, name="" if part.name in _NAMELESS else part.name) for part in parts)


def _marked(
    extension: Extension,
    told: Told,
    drawn: Engraved,
    score: Score,
    names: dict[ScoreNote, str],
) -> Iterator[Marked]:
    links = [_link_mark(span) for span in extension.spans]
    words = [Word(at_q=numeral.at_q, text=numeral.text) for numeral in told.numerals]
    bars = bars_to_write(score)
    at = 0
    for system in drawn.systems:
        count = len(system.measures)
        mine: tuple[Bar, ...] = bars[at : at + count]
        at += count
        onsets: dict[Fraction, float] = {}
        for note, name in names.items():
            if name in system.notes and not note.grace:
                x = system.notes[name][0]
                onsets[note.onset_q] = min(x, onsets.get(note.onset_q, x))
        yield marked(Timed(system=system, bars=mine, onsets=onsets), links, words)


def _link_mark(span: Span) -> LinkMark:
    number = str(span.number)
    if span.whose is Whose.PIECE:
        words: tuple[str, ...] = ("the piece goes on",)
    elif span.whose is Whose.CADENCE:
        words = ("cadence, new", "cadence")
    elif span.whose is Whose.MODEL:
        words = ("model", number)
    elif span.whose is Whose.GIVEN:
        words = (f"link {number}", number)
    else:
        words = (
            f"link {number}, {_KINDS[span.whose]}",
            f"link {number}, new",
            f"{number}, new",
            number,
        )
    return LinkMark(
        start_q=span.start_q,
        end_q=span.end_q,
        words=tuple(dict.fromkeys(words)),
        new=span.new,
        bracket=span.whose is not Whose.PIECE,
    )
