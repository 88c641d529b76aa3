"""Patterns to entries and back: what was heard or read, and what the engine carries on.

Conventions: as in `book.entry` and `sequence.pattern`. The pattern of an entry has its last two
links in `heard`, as the live engine's has.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from fractions import Fraction
from statistics import fmean

from livecont.book.entry import MOST_LINKS, BookNote, Entry, Printed, checked
from livecont.music.pitch import Spelling
from livecont.music.score import Score, ScoreNote
from livecont.sequence.continuation import kind_of
from livecont.sequence.finding import Find, pairs_in, pattern_in
from livecont.sequence.finding_textures import taking_part
from livecont.sequence.pattern import Pattern, Position

PER_UNIT = 1_000_000  # what was played is kept to this part of a link
KEPT_BEFORE = 48  # pitches, as the listener remembers


def entry_of(pattern: Pattern, created: datetime) -> Entry:
    """Return a pattern that was heard, as an entry without title, source and tags.

    Links are numbered as they are in `heard`: a chain that began earlier has its last links kept.

    Raises:
        BookError: the pattern has something that no entry can have.
    """
    known = len(pattern.positions[0].heard) if pattern.positions else 0
    notes = tuple(
        BookNote(
            link=link,
            place=place,
            onset_units=_kept(position.offset_units),
            length_units=_kept(position.articulation),
            spelling=spelling,
            velocity=min(127, max(1, position.velocity)),
            channel=position.channel,
        )
        for link in range(1, known + 1)
        for place, position in enumerate(pattern.positions)
        if (spelling := position.heard[link - 1]) is not None
    )
    return checked(
        Entry(
            unit_s=pattern.unit_s,
            step_degrees=pattern.step_degrees,
            shift_semitones=pattern.shift_semitones,
            kind=pattern.kind,
            key=pattern.key,
            links=max(2, known),
            notes=notes,
            created=created,
            pedals=pattern.pedals,
            before=pattern.before[-KEPT_BEFORE:],
            confidence=pattern.confidence,
        )
    )


def entry_of_find(score: Score, find: Find, created: datetime) -> Entry:
    """Return a find in a score as an entry, every link of it, exact in quarters.

    Of a chain of more than 64 links the last 64 are kept.

    Raises:
        BookError: it has something that no entry can have.
    """
    pattern = pattern_in(score, find)
    links = min(find.links, MOST_LINKS)
    first_q = find.end_q - links * find.unit_q
    early_q = find.end_q - 2 * find.unit_q
    places: dict[int, int] = {}
    for place, pair in enumerate(pairs_in(score, find)):
        for note in (pair.earlier, pair.later):
            if note is not None:
                places[id(note)] = place
    sounding = taking_part(score.within(first_q, find.end_q), find.who)
    notes = tuple(
        _of_paper(note, first_q, find.unit_q, places if note.onset_q >= early_q else {})
        for note in sounding
        if not note.grace
    )
    return checked(
        Entry(
            unit_s=pattern.unit_s,
            step_degrees=find.step_degrees,
            shift_semitones=find.shift_semitones,
            kind=find.kind,
            key=find.key,
            links=links,
            notes=notes,
            created=created,
            unit_q=find.unit_q,
            before=pattern.before[-KEPT_BEFORE:],
            printed=_printed(score, first_q),
            confidence=pattern.confidence,
            label=find.label,
        )
    )


def _of_paper(
    note: ScoreNote, first_q: Fraction, unit_q: Fraction, places: Mapping[int, int]
) -> BookNote:
    at_units = (note.onset_q - first_q) / unit_q
    link = int(at_units)
    return BookNote(
        link=link + 1,
        place=places.get(id(note)),
        onset_units=at_units - link,
        length_units=note.duration_q / unit_q,
        spelling=note.spelling,
        velocity=64,
        part=note.part,
        staff=note.staff,
        voice=note.voice,
    )


def _printed(score: Score, at_q: Fraction) -> Printed | None:
    if not score.bars:
        return None
    meter = score.meter_at(at_q)
    bar = score.bars[score.bar_index(at_q)]
    missing_q = max(Fraction(0), meter.bar_q - bar.length_q) if bar.pickup else Fraction(0)
    signature = score.signature_at(at_q)
    return Printed(
        beats=meter.beats,
        beat_type=meter.beat_type,
        start_in_bar_q=at_q - bar.start_q + missing_q,
        fifths=signature.fifths if signature is not None else 0,
    )


def pattern_of(entry: Entry) -> Pattern:
    """Return the pattern that the engine carries on, as though its last link had just ended."""
    last_two = (entry.links - 1, entry.links)
    by_place: dict[int, list[BookNote]] = {}
    for note in entry.notes:
        if note.link in last_two and note.place is not None:
            by_place.setdefault(note.place, []).append(note)
    positions = tuple(_position(by_place[place], last_two) for place in sorted(by_place))
    kind, shift = entry.kind, entry.shift_semitones
    if entry.unit_q is not None:  # on paper these tell of all links, here of what comes next
        kind, shift = kind_of(positions, entry.step_degrees, entry.key)
    starts_s = tuple(number * entry.unit_s for number in range(entry.links))
    return Pattern(
        unit_s=entry.unit_s,
        step_degrees=entry.step_degrees,
        shift_semitones=shift,
        kind=kind,
        key=entry.key,
        positions=positions,
        pedals=entry.pedals,
        starts_s=starts_s[-2:],
        due_s=entry.links * entry.unit_s,
        confidence=entry.confidence,
        links_heard=entry.links,
        before=entry.before,
    )


def _position(notes: list[BookNote], links: tuple[int, int]) -> Position:
    spelled: dict[int, Spelling] = {note.link: note.spelling for note in notes}
    return Position(
        offset_units=fmean(float(note.onset_units) for note in notes),
        articulation=fmean(float(note.length_units) for note in notes),
        velocity=round(fmean(note.velocity for note in notes)),
        channel=notes[-1].channel,
        heard=(spelled.get(links[0]), spelled.get(links[1])),
    )


def _kept(units: float) -> Fraction:
    return Fraction(round(units * PER_UNIT), PER_UNIT)
