"""Carrying a sequence on, on paper: the engine's own chain, written in the piece's voices.

Conventions: as in `extending_paper`. Links are numbered from 1, the model. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import islice

from livecont.errors import ScoreError
from livecont.music.compass import Compass
from livecont.music.score import Bar, Mark, Score, ScoreNote
from livecont.music.spectrum import Spectrum
from livecont.sequence.chain import MOST_LINKS, Chain
from livecont.sequence.endings import Ending, Limit
from livecont.sequence.extending_paper import Change, Passage, Rest, Template
from livecont.sequence.extending_rejoin import way_back
from livecont.sequence.finding_textures import taking_part
from livecont.sequence.pattern import Link, LinkNote, Role

# folding goes on without end: without a number of links, two laps of the seven degrees
FOLDED_LINKS = 14
NEAR_UNITS = 1e-6
FINEST = 960


class Whose(StrEnum):
    """Where a link on paper is from."""

    MODEL = "model"
    GIVEN = "given"  # the composer's, after the model
    NEW = "new"  # by the step
    FOLDED = "folded"  # by the step, octaves away
    TURNED = "turned"  # on the way back
    CADENCE = "cadence"
    PIECE = "piece"  # the piece goes on


NEW = (Whose.NEW, Whose.FOLDED, Whose.TURNED, Whose.CADENCE)
_OF_ROLE = {
    Role.CHAIN: Whose.NEW,
    Role.FOLDED: Whose.FOLDED,
    Role.TURNED: Whose.TURNED,
    Role.CADENCE: Whose.CADENCE,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """How a passage is to be carried on; `ending` None: back into the piece."""

    compass: Compass
    links: int | None = None
    limit: Limit = Limit.COMPASS
    ending: Ending | None = Ending.STOP
    spectrum: Spectrum | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A link on paper, from a place to a place, or the piece that goes on (number 0)."""

    number: int
    whose: Whose
    start_q: Fraction
    end_q: Fraction

    @property
    def new(self) -> bool:
        """Whether it is not the composer's."""
        return self.whose in NEW


@dataclass(frozen=True, slots=True, kw_only=True)
class Extension:
    """A passage carried on: the score, and its links in order.

    By its step it could go on for `left` more links; None where it is back in the piece.
    """

    score: Score
    spans: tuple[Span, ...]
    passage: Passage
    left: int | None = None

    @property
    def new(self) -> tuple[Span, ...]:
        """The links that were added."""
        return tuple(span for span in self.spans if span.new)

    def of(self, span: Span) -> tuple[ScoreNote, ...]:
        """Return the notes that begin in a link."""
        return tuple(self.score.within(span.start_q, span.end_q))

    def moving(self, span: Span) -> tuple[ScoreNote, ...]:
        """Return those of the notes that begin in a link that belong to the sequence."""
        notes = (note for note in self.of(span) if not note.grace)
        return taking_part(notes, self.passage.who)


def extend(passage: Passage, wish: Wish) -> Extension:
    """Return a passage carried on.

    Raises:
        ScoreError: there is no room for a single link, or no way back into the piece.
    """
    if wish.links == 0:
        return _joined(passage, [], None, _left(passage, wish, 0))
    if wish.ending is None:
        return _rejoined(passage, wish)
    most = wish.links
    if wish.ending is Ending.FOLD and most is None:
        most = FOLDED_LINKS
    chain = _chain(passage, wish, wish.ending, most)
    links = list(islice(chain.links(), MOST_LINKS))
    if not links:
        raise ScoreError(
            f"no room for another link on this compass ({wish.compass.title}): try another "
            "--compass, or --ending fold"
        )
    written = [(_OF_ROLE[link.role], _written(passage, link)) for link in links]
    by_step = sum(link.role is Role.CHAIN for link in links)
    return _joined(passage, written, None, _left(passage, wish, by_step))


def _chain(passage: Passage, wish: Wish, ending: Ending, most: int | None) -> Chain:
    """The engine's chain; each position's number travels as its channel, to tell its image by."""
    positions = tuple(
        replace(position, channel=index) for index, position in enumerate(passage.pattern.positions)
    )
    return Chain(
        pattern=replace(passage.pattern, positions=positions),
        compass=wish.compass,
        most_links=most,
        limit=wish.limit,
        ending=ending,
        spectrum=wish.spectrum,
    )


def _left(passage: Passage, wish: Wish, taken: int) -> int:
    """Return how many more links the compass has room for."""
    chain = _chain(passage, wish, Ending.STOP, None)
    return max(0, sum(1 for _ in chain.plain()) - taken)


def _rejoined(passage: Passage, wish: Wish) -> Extension:
    if passage.rest is None:
        raise ScoreError("nothing follows this sequence that could be joined: use another --ending")
    chain = _chain(passage, wish, Ending.STOP, None)
    places = way_back(chain.course, wish.compass, wish.links)
    if places is None:
        raise ScoreError(
            f"no way back to the pitch where the piece goes on within {wish.compass.title}: try "
            "another --compass, or --ending turn"
        )
    written = []
    for number, (place, leapt) in enumerate(places, passage.links + 1):
        link = chain.course.sounding(chain.course.at(place), number)
        written.append((Whose.FOLDED if leapt else Whose.NEW, _written(passage, link)))
    return _joined(passage, written, passage.rest, None)


def _written(passage: Passage, link: Link) -> list[ScoreNote]:
    """Return a link's notes as they are written, from the link's start."""
    result = []
    for note in link.notes:
        template = passage.templates[note.channel]
        offset_q, duration_q = _times(passage, link, note, template)
        result.append(
            ScoreNote(
                onset_q=offset_q,
                duration_q=duration_q,
                spelling=note.spelling,
                part=template.part,
                staff=template.staff,
                voice=template.voice,
            )
        )
    return result


def _times(
    passage: Passage, link: Link, note: LinkNote, template: Template
) -> tuple[Fraction, Fraction]:
    """Return when a note begins and how long it lasts: as its position does.

    A last chord lasts to the link's end.
    """
    position = passage.pattern.positions[note.channel]
    at_units = note.offset_s / link.unit_s
    lasts_units = note.duration_s / link.unit_s
    if (
        abs(at_units - max(0.0, position.offset_units)) < NEAR_UNITS
        and abs(lasts_units - position.articulation) < NEAR_UNITS
    ):
        return template.offset_q, template.duration_q
    offsets = [one.offset_q for one in passage.templates]
    wanted_q = at_units * float(passage.unit_q)
    offset_q = min(offsets, key=lambda offset: abs(float(offset) - wanted_q))
    if abs(float(offset_q) - wanted_q) > 1 / FINEST:
        offset_q = Fraction(wanted_q).limit_denominator(FINEST)
    return offset_q, passage.unit_q - offset_q


def _joined(
    passage: Passage,
    written: Sequence[tuple[Whose, Sequence[ScoreNote]]],
    rest: Rest | None,
    left: int | None,
) -> Extension:
    """Put the new links, and what follows in the piece, behind the passage."""
    unit_q, score = passage.unit_q, passage.score
    spans = [
        Span(
            number=number + 1,
            whose=Whose.GIVEN if number else Whose.MODEL,
            start_q=passage.start_q + number * unit_q,
            end_q=passage.start_q + (number + 1) * unit_q,
        )
        for number in range(passage.links)
    ]
    notes = list(score.notes)
    at_q = passage.end_q
    for number, (whose, link) in enumerate(written, passage.links + 1):
        notes += [replace(note, onset_q=note.onset_q + at_q) for note in link]
        spans.append(Span(number=number, whose=whose, start_q=at_q, end_q=at_q + unit_q))
        at_q += unit_q
    bars = _bars(score, at_q, cut=rest is not None)
    meters, signatures = list(score.meters), list(score.signatures)
    if rest is not None:
        notes += [replace(note, onset_q=note.onset_q + at_q) for note in rest.notes]
        bars += _numbered((replace(b, start_q=b.start_q + at_q) for b in rest.bars), bars)
        meters += _changes(rest.meters, meters, at_q)
        signatures += _changes(rest.signatures, signatures, at_q)
        spans.append(Span(number=0, whose=Whose.PIECE, start_q=at_q, end_q=bars[-1].end_q))
    end_q = bars[-1].end_q
    whole = replace(
        score,
        notes=tuple(sorted((_until(note, end_q) for note in _unstruck(notes)), key=_order)),
        bars=tuple(bars),
        meters=tuple(meters),
        signatures=tuple(signatures),
        marks=tuple(_mark(span, rest) for span in spans),
    )
    return Extension(score=whole, spans=tuple(spans), passage=passage, left=left)


def _order(note: ScoreNote) -> tuple[Fraction, int, int, int, bool, int]:
    return note.onset_q, note.part, note.staff, note.voice, not note.grace, note.spelling.staff


def _until(note: ScoreNote, end_q: Fraction) -> ScoreNote:
    return replace(note, duration_q=min(note.duration_q, end_q - note.onset_q))


def _unstruck(notes: Iterable[ScoreNote]) -> list[ScoreNote]:
    """Cut short what is held into another note of the same pitch and voice."""
    last: dict[tuple[int, int, int, int], int] = {}
    result: list[ScoreNote] = []
    for note in sorted(notes, key=_order):
        place = (note.part, note.staff, note.voice, note.spelling.midi)
        before = last.get(place)
        if before is not None and not note.grace and result[before].end_q > note.onset_q:
            held = result[before]
            if note.onset_q > held.onset_q:
                result[before] = replace(held, duration_q=note.onset_q - held.onset_q)
        if not note.grace:
            last[place] = len(result)
        result.append(note)
    return result


def _bars(score: Score, end_q: Fraction, *, cut: bool) -> list[Bar]:
    """Continue the bars in their metre up to a place; the last is whole unless it is to be cut."""
    bars = list(score.bars)
    while bars[-1].end_q < end_q:
        at_q = bars[-1].end_q
        following = Bar(number="", start_q=at_q, length_q=score.meter_at(at_q).bar_q)
        bars += _numbered([following], bars)
    if cut and bars[-1].end_q > end_q:
        bars[-1] = replace(bars[-1], length_q=end_q - bars[-1].start_q)
    return bars


def _numbered(bars: Iterable[Bar], before: Sequence[Bar]) -> list[Bar]:
    """Number bars on from the last one that has a plain number."""
    plain = [index for index, bar in enumerate(before) if bar.number.isdecimal()]
    number = int(before[plain[-1]].number) + len(before) - 1 - plain[-1] if plain else len(before)
    return [replace(bar, number=str(number + n)) for n, bar in enumerate(bars, 1)]


def _changes(later: Sequence[Change], before: Sequence[Change], at_q: Fraction) -> list[Change]:
    """What changes where the piece goes on, without what is in force already."""
    moved = [replace(change, at_q=change.at_q + at_q) for change in later]
    if moved and before and replace(moved[0], at_q=before[-1].at_q) == before[-1]:
        moved = moved[1:]
    return moved


def _mark(span: Span, rest: Rest | None) -> Mark:
    if span.whose is Whose.PIECE:
        bar = rest.bar if rest is not None else ""
        return Mark(at_q=span.start_q, text=f"the piece, bar {bar}")
    if span.whose is Whose.CADENCE:
        return Mark(at_q=span.start_q, text="cadence, new")
    told = "model" if span.whose is Whose.MODEL else f"link {span.number}"
    return Mark(at_q=span.start_q, text=f"{told}, new" if span.new else told)
