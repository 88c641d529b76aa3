"""Entries as JSON, one object each: in the book's file and in exported lines.

Conventions: fractions are texts such as "3/8", pitches are names such as "F#4", moments ISO 8601
in UTC. Reading trusts nothing: whatever is wrong ends as a `BookError` of one line that names the
field. Fields that are not known are an error too, since a misspelled one would be lost.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC
from functools import lru_cache
from typing import Any

from livecont.book.entry import MOST_MARKS, MOST_NOTES, BookNote, Entry, Printed, checked
from livecont.book.fields import Fields, moment_of, parse, short
from livecont.errors import BookError, ConfigError
from livecont.music.key import Key, parse_key
from livecont.music.pitch import Spelling, spelling
from livecont.sequence.pattern import Kind, PedalMark

VERSION = 1


def to_json(entry: Entry) -> dict[str, Any]:
    """Return an entry as an object for JSON; the README documents the fields."""
    return {
        "version": VERSION,
        "title": entry.title,
        "source": entry.source,
        "bars": entry.bars,
        "key": entry.key.name,
        "label": entry.label,
        "step_degrees": entry.step_degrees,
        "shift_semitones": entry.shift_semitones,
        "kind": entry.kind.value,
        "unit_s": entry.unit_s,
        "unit_quarters": None if entry.unit_q is None else str(entry.unit_q),
        "links": entry.links,
        "confidence": entry.confidence,
        "remarks": entry.remarks,
        "tags": list(entry.tags),
        "starred": entry.starred,
        "created": entry.created.astimezone(UTC).isoformat(),
        **music_json(entry),
    }


def music_json(entry: Entry) -> dict[str, Any]:
    """Return what is music in an entry: notes, pedals, what came before, how it is printed."""
    printed = entry.printed
    return {
        "notes": [_note_json(note) for note in entry.notes],
        "pedals": [[mark.offset_units, mark.controller, mark.value] for mark in entry.pedals],
        "before": [pitch.name for pitch in entry.before],
        "printed": None
        if printed is None
        else {
            "metre": [printed.beats, printed.beat_type],
            "start_in_bar_quarters": str(printed.start_in_bar_q),
            "fifths": printed.fifths,
        },
    }


def _note_json(note: BookNote) -> dict[str, Any]:
    fields: dict[str, Any] = {
        "link": note.link,
        "onset": str(note.onset_units),
        "length": str(note.length_units),
        "pitch": note.spelling.name,
        "velocity": note.velocity,
    }
    if note.place is not None:
        fields["place"] = note.place
    for name, usual in (("channel", 0), ("part", 0), ("staff", 1), ("voice", 1)):
        if getattr(note, name) != usual:
            fields[name] = getattr(note, name)
    return fields


def to_line(entry: Entry) -> str:
    """Return an entry as one line of JSON, without its end."""
    return json.dumps(to_json(entry), ensure_ascii=False, allow_nan=False)


def of_line(text: str) -> Entry:
    """Return the entry on a line.

    Raises:
        BookError: it is none.
    """
    return of_json(parse(text))


def of_json(value: object) -> Entry:
    """Return the entry of an object.

    Raises:
        BookError: a field is missing, unknown, of another type, or out of bounds.
    """
    fields = Fields(value)
    version = fields.whole("version")
    if version != VERSION:
        raise BookError(f"an entry of version {version}: this livecont knows version {VERSION}")
    tags = fields.take("tags", list, [])
    if not all(isinstance(tag, str) for tag in tags):
        raise BookError('the field "tags" needs a list of texts')
    entry = Entry(
        title=fields.text("title", ""),
        source=fields.text("source", ""),
        bars=fields.text("bars", ""),
        key=_key(fields.text("key")),
        label=fields.optional("label", fields.text),
        step_degrees=fields.whole("step_degrees"),
        shift_semitones=fields.optional("shift_semitones", fields.whole),
        kind=_kind(fields.text("kind")),
        unit_s=fields.number("unit_s"),
        unit_q=fields.optional("unit_quarters", fields.fraction),
        links=fields.whole("links"),
        confidence=fields.number("confidence", 1.0),
        remarks=fields.text("remarks", ""),
        tags=tuple(dict.fromkeys(tags)),
        starred=fields.take("starred", bool, False),
        created=moment_of(fields.text("created")),
        notes=_notes(fields),
        pedals=_pedals(fields),
        before=_before(fields),
        printed=_printed(fields),
    )
    fields.done()
    return checked(entry)


def music_of(value: object) -> Mapping[str, Any]:
    """Return notes, pedals, before and printed of `music_json`'s object, as `Entry` has them.

    Raises:
        BookError: it is none.
    """
    fields = Fields(value)
    found = {
        "notes": _notes(fields),
        "pedals": _pedals(fields),
        "before": _before(fields),
        "printed": _printed(fields),
    }
    fields.done()
    return found


def _notes(fields: Fields) -> tuple[BookNote, ...]:
    notes = fields.take("notes", list)
    if len(notes) > MOST_NOTES:
        raise BookError(f"{len(notes)} notes: {MOST_NOTES} is the most")
    return tuple(_note(note) for note in notes)


def _note(value: object) -> BookNote:
    fields = Fields(value)
    note = BookNote(
        link=fields.whole("link"),
        place=fields.optional("place", fields.whole),
        onset_units=fields.fraction("onset"),
        length_units=fields.fraction("length"),
        spelling=_pitch(fields.text("pitch")),
        velocity=fields.whole("velocity"),
        channel=fields.whole("channel", 0),
        part=fields.whole("part", 0),
        staff=fields.whole("staff", 1),
        voice=fields.whole("voice", 1),
    )
    fields.done()
    return note


def _pedals(fields: Fields) -> tuple[PedalMark, ...]:
    marks = fields.take("pedals", list, [])
    if len(marks) > MOST_MARKS:
        raise BookError(f"{len(marks)} pedal marks: {MOST_MARKS} is the most")
    found = []
    for mark in marks:
        if not isinstance(mark, list) or len(mark) != 3:
            raise BookError("a pedal mark needs three numbers: place, controller, value")
        three = Fields({"place": mark[0], "controller": mark[1], "value": mark[2]})
        found.append(
            PedalMark(
                offset_units=three.number("place"),
                controller=three.whole("controller"),
                value=three.whole("value"),
            )
        )
    return tuple(found)


def _before(fields: Fields) -> tuple[Spelling, ...]:
    names = fields.take("before", list, [])
    if len(names) > MOST_NOTES or not all(isinstance(name, str) for name in names):
        raise BookError('the field "before" needs a list of pitch names')
    return tuple(_pitch(name) for name in names)


def _printed(fields: Fields) -> Printed | None:
    def read(name: str) -> Printed:
        inner = Fields(fields.take(name, dict))
        metre = inner.take("metre", list)
        if len(metre) != 2:
            raise BookError('the field "metre" needs two numbers')
        two = Fields({"beats": metre[0], "beat_type": metre[1]})
        printed = Printed(
            beats=two.whole("beats"),
            beat_type=two.whole("beat_type"),
            start_in_bar_q=inner.fraction("start_in_bar_quarters"),
            fifths=inner.whole("fifths"),
        )
        inner.done()
        return printed

    found: Printed | None = fields.optional("printed", read)
    return found


@lru_cache(maxsize=1024)
def _pitch(name: str) -> Spelling:
    try:
        if len(name) > 8:
            raise ValueError(name)
        return spelling(name)
    except ValueError as error:
        raise BookError(f"no pitch: {short(name)}") from error


def _key(name: str) -> Key:
    try:
        return parse_key(name)
    except ConfigError as error:
        raise BookError(str(error)) from error


def _kind(name: str) -> Kind:
    try:
        return Kind(name)
    except ValueError as error:
        raise BookError(f"no kind of step: {short(name)}") from error
