"""Passages to carry on: a find in a piece, an entry of the book, what was heard in a take.

Conventions: as in `sequence.extending_paper`. Files are read in a process of their own, bounded in
time and memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from livecont.book.entry import BookNote, Entry
from livecont.book.pattern import pattern_of
from livecont.errors import ConfigError, ScoreError
from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.music.score import Meter, Part, Score, ScoreNote, Signature
from livecont.score.confined import confined
from livecont.score.reading import read_score
from livecont.sequence.extending_heard import bars_until, passage_of_pattern, signature_of
from livecont.sequence.extending_paper import Passage, Template, passage_of
from livecont.sequence.finding import Search, find_sequences
from livecont.sequence.finding_listed import Listed, listed
from livecont.sequence.finding_textures import part_named


@dataclass(frozen=True, slots=True, kw_only=True)
class Whereabouts:
    """Where in a piece to look, as the user says it; `key` overrides the one that is found."""

    bars: tuple[str, str] | None = None
    part: str | None = None
    staff: int | None = None
    key: Key | None = None
    lead_in: bool = True  # whether what comes before the sequence in these bars is kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A passage of a piece, the find that it is, and how many others lie in the same bars."""

    passage: Passage
    listed: Listed
    others: tuple[Listed, ...] = ()


def found_in(path: Path, where: Whereabouts, compass: Compass) -> Found:
    """Return the sequence in some bars of a piece, the one that fills them best.

    Raises:
        ScoreError: it can't be read, has no such bars, or no sequence in them.
        ConfigError: the extra `score` is not installed.
    """
    try:
        return confined(_found, path, where, compass)
    except ConfigError:
        raise
    except ScoreError as error:
        told = str(error)
        raise ScoreError(told if told.startswith(str(path)) else f"{path}: {told}") from error


def _found(path: Path, where: Whereabouts, compass: Compass) -> Found:
    score = read_score(path)
    part = part_named(score, where.part) if where.part is not None else None
    within = score.bars_span(*where.bars) if where.bars is not None else None
    search = Search(compass=compass, part=part, staff=where.staff, within_q=within)
    every = listed(score, find_sequences(score, search))
    outer = [one for one in every if one.find.within is None] or list(every)
    if not outer:
        place = _named(where)
        raise ScoreError(f"no sequence {place}: livecont find lists those that there are")
    span = within or (Fraction(0), score.length_q)
    best = filling_best(outer, span)
    find = best.find
    if where.key is not None:
        find = replace(find, key=where.key)
    from_q = within[0] if within and where.lead_in else None
    passage = passage_of(score, find, from_q=from_q, until_q=span[1])
    others = tuple(one for one in outer if one is not best)
    return Found(passage=passage, listed=replace(best, find=find), others=others)


def _named(where: Whereabouts) -> str:
    if where.bars is None:
        return "in it"
    first, last = where.bars
    told = f"in bar {first}" if first == last else f"in bars {first}-{last}"
    if where.part is not None:
        told += f" of {where.part}"
    if where.staff is not None:
        told += f", staff {where.staff}"
    return told


def filling_best(found: Sequence[Listed], span: tuple[Fraction, Fraction]) -> Listed:
    """Return the find that fills the bars best: what both share of what either has."""

    def fits(one: Listed) -> tuple[Fraction, float, int]:
        find = one.find
        shared = min(find.end_q, span[1]) - max(find.start_q, span[0])
        both = max(find.end_q, span[1]) - min(find.start_q, span[0])
        return max(Fraction(0), shared) / both, find.mean_exact, -len(find.who)

    return max(found, key=fits)


# --- entries of the book -----------------------------------------------------------------------


def passage_of_entry(entry: Entry) -> Passage:
    """Return an entry of the book on paper: as it is printed, or what was played written down."""
    pattern = pattern_of(entry)
    if entry.unit_q is None:
        return passage_of_pattern(pattern)
    unit_q = entry.unit_q
    start_q, meter, signature = Fraction(0), Meter(at_q=Fraction(0), beats=4, beat_type=4), None
    if entry.printed is not None:
        printed = entry.printed
        start_q = printed.start_in_bar_q
        meter = Meter(at_q=Fraction(0), beats=printed.beats, beat_type=printed.beat_type)
        signature = Signature(at_q=Fraction(0), fifths=printed.fifths)
    numbers = {part: n for n, part in enumerate(sorted({note.part for note in entry.notes}))}
    end_q = start_q + entry.links * unit_q
    notes = sorted(
        (_written(note, start_q, unit_q, numbers) for note in entry.notes),
        key=lambda n: (n.onset_q, n.part, n.staff, n.voice, n.spelling.staff),
    )
    return Passage(
        score=Score(
            parts=_parts(notes),
            notes=tuple(notes),
            bars=bars_until(meter, Fraction(0), end_q),
            meters=(meter,),
            signatures=(signature or signature_of(pattern),),
        ),
        start_q=start_q,
        unit_q=unit_q,
        links=entry.links,
        pattern=pattern,
        templates=_templates(entry, unit_q, numbers),
    )


def _parts(notes: Sequence[ScoreNote]) -> tuple[Part, ...]:
    staves: dict[int, int] = {}
    for note in notes:
        staves[note.part] = max(note.staff, staves.get(note.part, 1))
    alone = len(staves) == 1
    return tuple(
        Part(name="" if alone else f"part {part + 1}", staves=staves[part])
        for part in sorted(staves)
    )


def _written(
    note: BookNote, start_q: Fraction, unit_q: Fraction, numbers: Mapping[int, int]
) -> ScoreNote:
    return ScoreNote(
        onset_q=start_q + (note.link - 1 + note.onset_units) * unit_q,
        duration_q=note.length_units * unit_q,
        spelling=note.spelling,
        part=numbers[note.part],
        staff=note.staff,
        voice=note.voice,
    )


def _templates(entry: Entry, unit_q: Fraction, numbers: Mapping[int, int]) -> tuple[Template, ...]:
    """The later note of each place, as the pattern's positions are."""
    by_place: dict[int, BookNote] = {}
    for note in sorted(entry.notes, key=lambda note: note.link):
        if note.place is not None and note.link >= entry.links - 1:
            by_place[note.place] = note
    return tuple(
        Template(
            offset_q=note.onset_units * unit_q,
            duration_q=note.length_units * unit_q,
            part=numbers[note.part],
            staff=note.staff,
            voice=note.voice,
        )
        for _, note in sorted(by_place.items())
    )
