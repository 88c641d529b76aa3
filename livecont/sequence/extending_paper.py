"""A sequence on paper, ready to be carried on: its bars and notes, and which note a position is.

Conventions: as in `music.score`; `*_q` count from the start of the passage's first bar. Positions
are those of the pattern; every one has a template: when in the link, how long, and on whose staff
its image is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar

from livecont.music.score import Bar, Meter, Score, ScoreNote, Signature
from livecont.sequence.finding import Find, pairs_in, pattern_in
from livecont.sequence.finding_pattern import Pair
from livecont.sequence.finding_textures import Who, taking_part
from livecont.sequence.pattern import Pattern

Change = TypeVar("Change", Meter, Signature)
HELD_Q = 64  # notes held longer than this over the end are not looked for
BARS_AFTER = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """How the image of a note is written; `offset_q` counts from the link's start."""

    offset_q: Fraction
    duration_q: Fraction
    part: int = 0
    staff: int = 1
    voice: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A sequence on paper up to the end of its last link, `score` with what comes before it.

    `rest` is what follows it in the piece, from where the last link ends; None where nothing does.
    `lasting` are those of its last link's notes that last longer than their images in new links.
    """

    score: Score
    start_q: Fraction
    unit_q: Fraction
    links: int
    pattern: Pattern
    templates: tuple[Template, ...]
    who: tuple[Who, ...] = ()
    rest: Rest | None = None

    @property
    def end_q(self) -> Fraction:
        """Where its last link ends."""
        return self.start_q + self.links * self.unit_q

    @property
    def last_link(self) -> tuple[ScoreNote, ...]:
        """The notes of its last link."""
        within = self.score.within(self.end_q - self.unit_q, self.end_q)
        return taking_part(within, self.who)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """What follows in the piece; places count from where the sequence ends.

    `notes` begin there or later, or are what is left of notes held over. The first of `bars` is
    what is left of the bar in which the sequence ends. `bar` is its printed number.
    """

    notes: tuple[ScoreNote, ...]
    bars: tuple[Bar, ...]
    meters: tuple[Meter, ...]
    signatures: tuple[Signature, ...]
    bar: str


def passage_of(
    score: Score, find: Find, *, from_q: Fraction | None = None, until_q: Fraction | None = None
) -> Passage:
    """Return a find as a passage.

    Args:
        score: the piece.
        find: the sequence in it.
        from_q: where the passage begins at the latest, in quarters of the piece.
        until_q: up to where the piece is kept after it; two bars where None.
    """
    pairs = pairs_in(score, find)
    start_q = find.start_q if from_q is None else min(from_q, find.start_q)
    first = score.bar_index(start_q)
    begin_q = score.bars[first].start_q
    templates = tuple(_template(pair, find.end_q - find.unit_q, find.unit_q) for pair in pairs)
    cut = _cut(score, find, templates, pairs, first)
    return Passage(
        score=cut,
        start_q=find.start_q - begin_q,
        unit_q=find.unit_q,
        links=find.links,
        pattern=pattern_in(score, find),
        templates=templates,
        who=find.who,
        rest=_rest(score, find.end_q, find.who, until_q),
    )


def _template(pair: Pair, start_q: Fraction, unit_q: Fraction) -> Template:
    """What both links have: of lengths that differ, the one that does not last into what follows.

    The last link often ends otherwise than those before it.
    """
    earlier, later = pair.earlier, pair.later
    note = later if later is not None else earlier
    assert note is not None  # noqa: S101 -- one of the two is there
    offset_q = note.onset_q - (start_q if later is not None else start_q - unit_q)
    duration_q = note.duration_q
    if earlier is not None and offset_q + duration_q > unit_q:
        duration_q = min(duration_q, earlier.duration_q)
    return Template(
        offset_q=offset_q,
        duration_q=duration_q,
        part=note.part,
        staff=note.staff,
        voice=note.voice,
    )


def _cut(
    score: Score, find: Find, templates: Sequence[Template], pairs: Sequence[Pair], first: int
) -> Score:
    """The piece from a bar on to the end of the find; what would last longer is cut short."""
    begin_q, end_q = score.bars[first].start_q, find.end_q
    lasts = {
        id(pair.later): template.duration_q
        for pair, template in zip(pairs, templates, strict=True)
        if pair.later is not None
    }
    notes = []
    for note in score.within(begin_q, end_q):
        duration_q = lasts.get(id(note))
        if duration_q is None:
            duration_q = min(note.duration_q, end_q - note.onset_q)
        notes.append(replace(note, onset_q=note.onset_q - begin_q, duration_q=duration_q))
    bars = [bar for bar in score.bars[first:] if bar.start_q < end_q]
    return Score(
        parts=score.parts,
        notes=tuple(notes),
        bars=tuple(replace(bar, start_q=bar.start_q - begin_q) for bar in bars),
        meters=_moved(score.meters, score.meter_at(begin_q), begin_q, end_q),
        signatures=_moved(score.signatures, score.signature_at(begin_q), begin_q, end_q),
        spelled=score.spelled,
    )


def _rest(
    score: Score, end_q: Fraction, who: tuple[Who, ...], until_q: Fraction | None
) -> Rest | None:
    if end_q >= score.length_q:
        return None
    index = score.bar_index(end_q)
    bars = [bar for bar in score.bars[index:] if until_q is None or bar.start_q < until_q]
    if until_q is None or len(bars) < 2:
        bars = list(score.bars[index : index + BARS_AFTER + (score.bars[index].start_q < end_q)])
    last_q = bars[-1].end_q
    held = [
        replace(note, onset_q=end_q, duration_q=note.end_q - end_q)
        for note in score.within(max(Fraction(0), end_q - HELD_Q), end_q)
        if note.end_q > end_q and not note.grace and not (who and taking_part((note,), who))
    ]
    if not who:
        held = []
    notes = [
        replace(
            note,
            onset_q=note.onset_q - end_q,
            duration_q=min(note.duration_q, last_q - note.onset_q),
        )
        for note in (*held, *score.within(end_q, last_q))
    ]
    if not notes:
        return None
    left = replace(bars[0], start_q=end_q, length_q=bars[0].end_q - end_q)
    return Rest(
        notes=tuple(notes),
        bars=tuple(replace(bar, start_q=bar.start_q - end_q) for bar in (left, *bars[1:])),
        meters=_moved(score.meters, score.meter_at(end_q), end_q, last_q),
        signatures=_moved(score.signatures, score.signature_at(end_q), end_q, last_q),
        bar=bars[0].number,
    )


def _moved(
    changes: Sequence[Change], in_force: Change | None, begin_q: Fraction, end_q: Fraction
) -> tuple[Change, ...]:
    """The changes of a stretch, the one in force at its beginning first, from there on."""
    result: list[Change] = [] if in_force is None else [replace(in_force, at_q=Fraction(0))]
    for change in changes:
        if begin_q < change.at_q < end_q:
            result.append(replace(change, at_q=change.at_q - begin_q))
    return tuple(result)
