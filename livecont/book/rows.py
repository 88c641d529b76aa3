"""Entries as rows of the book's table, and back.

Conventions: the columns are those of `book.schema`; a row read has its tags besides, as JSON.
"""

from __future__ import annotations

import json
import sqlite3
from fractions import Fraction
from typing import Any

from livecont.book.entry import Entry, checked
from livecont.book.fields import moment_of, parse
from livecont.book.likeness import figure_of
from livecont.book.line import music_json, music_of
from livecont.errors import BookError, ConfigError
from livecont.music.key import parse_key
from livecont.sequence.pattern import Kind

COLUMNS = (
    *("number", "created", "title", "source", "bars", "remarks", "starred", "key", "label"),
    *("step_degrees", "shift_semitones", "kind", "unit_s", "unit_quarters", "links"),
    *("confidence", "music", "tags"),
)


def row_of(entry: Entry) -> dict[str, object]:
    """Return an entry's columns, all but its number."""
    return {
        "created": entry.created.isoformat(),
        "title": entry.title,
        "source": entry.source,
        "bars": entry.bars,
        "remarks": entry.remarks,
        "starred": int(entry.starred),
        "key": entry.key.name,
        "label": entry.label,
        "step_degrees": entry.step_degrees,
        "shift_semitones": entry.shift_semitones,
        "kind": entry.kind.value,
        "unit_s": entry.unit_s,
        "unit_quarters": None if entry.unit_q is None else str(entry.unit_q),
        "links": entry.links,
        "confidence": entry.confidence,
        "figure": figure_of(entry),
        "music": json.dumps(music_json(entry), ensure_ascii=False, allow_nan=False),
    }


def entry_in(row: sqlite3.Row) -> Entry:
    """Return the entry of a row, which somebody else may have written.

    Raises:
        BookError: it is damaged, naming its number.
    """
    columns = row.keys()
    if missing := [name for name in COLUMNS if name not in columns]:
        raise BookError(
            f"the book is damaged: its entries have no column {missing[0]!r}; take a copy"
            " of it from a backup, or begin another with --book"
        )
    try:
        music: Any = music_of(parse(row["music"]))
        return checked(
            Entry(
                number=row["number"],
                created=moment_of(row["created"]),
                title=row["title"],
                source=row["source"],
                bars=row["bars"],
                remarks=row["remarks"],
                starred=bool(row["starred"]),
                key=parse_key(row["key"]),
                label=row["label"],
                step_degrees=row["step_degrees"],
                shift_semitones=row["shift_semitones"],
                kind=Kind(row["kind"]),
                unit_s=row["unit_s"],
                unit_q=None if row["unit_quarters"] is None else Fraction(row["unit_quarters"]),
                links=row["links"],
                confidence=row["confidence"],
                tags=tuple(json.loads(row["tags"])),
                **music,
            )
        )
    except (BookError, ConfigError, ValueError, TypeError, ZeroDivisionError) as error:
        raise BookError(f"entry {row['number']} of the book is damaged: {error}") from error
