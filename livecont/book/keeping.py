"""Keeping a sequence with one call, from anywhere: the live key, a command, a lesson.

The book is opened and closed by each call, so that it may come from any thread, and nothing is held
while nobody writes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from livecont.book.book import Book, Twin
from livecont.book.entry import Entry
from livecont.book.pattern import entry_of
from livecont.sequence.analysis import analysed
from livecont.sequence.pattern import Pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """An entry as it is in the book, with its number, and others that are the same sequence."""

    entry: Entry
    twins: tuple[Twin, ...]


def keep(
    path: Path,
    pattern: Pattern,
    created: datetime,
    *,
    title: str = "",
    source: str = "",
    tags: Sequence[str] = (),
) -> Kept:
    """Put a pattern that was heard into the book at `path`, with its label.

    Args:
        path: the book's file; it is made where there is none.
        pattern: what was heard.
        created: now, with its zone.
        title: what it is to be called; may be empty.
        source: where it is from, such as the take's name.
        tags: the player's tags.

    Raises:
        BookError: the book can't be written to, or a text is too long.
    """
    entry = replace(
        entry_of(pattern, created),
        label=label_of(pattern),
        title=title,
        source=source,
        tags=tuple(tags),
    )
    return keep_entries(path, (entry,))[0]


def keep_entries(path: Path, entries: Sequence[Entry]) -> tuple[Kept, ...]:
    """Put entries into the book, all or none; return each with the others that are the same."""
    with Book(path) as book:
        kept = book.add_all(entries)
        return tuple(Kept(entry=entry, twins=book.twins(entry)) for entry in kept)


def label_of(pattern: Pattern) -> str | None:
    """Return the harmonic label of a pattern, None where it has none."""
    label = analysed(pattern).label
    return None if label is None else label.text
