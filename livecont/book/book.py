"""The book's file: entries put in, found again, changed and taken out.

One SQLite file. Every change is one transaction, on the disk when the call returns; what a crash
interrupts did not happen. Several processes may use it at once: who writes waits his turn, up to
`PATIENCE_S`. The journal is SQLite's rollback journal, so that between changes the book is one file
that can be copied.

Conventions: moments are handed in, in UTC; entries are numbered from 1, a number is never given
twice. A `Book` belongs to the thread that opened it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType

from livecont.book.entry import (
    LONGEST_LINE,
    LONGEST_TEXT,
    LONGEST_WORD,
    MOST_TAGS,
    Entry,
    check_tag,
    check_text,
    checked,
)
from livecont.book.likeness import Likeness, figure_of, likeness_in_figure
from livecont.book.rows import entry_in, row_of
from livecont.book.schema import bring_up
from livecont.book.searching import Wanted, conditions
from livecont.errors import BookError

FILE_NAME = "book.sqlite"
PATIENCE_S = 10.0

_SELECT = (
    "SELECT *, (SELECT json_group_array(tag) FROM"
    " (SELECT tag FROM tags WHERE entry = number ORDER BY tag)) AS tags FROM entries"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Twin:
    """Another entry that is the same sequence, and how alike it is."""

    entry: Entry
    likeness: Likeness


class Book:
    """An open book. Use it as a context manager, or close it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._db = _opened(path)
        try:
            with self.asking():
                self._db.execute("PRAGMA foreign_keys = ON")
                # the journal's end is on the disk, too, before a change counts as made
                self._db.execute("PRAGMA synchronous = EXTRA")
                self._db.create_function("folded", 1, _folded, deterministic=True)
                bring_up(self._db)
        except BaseException:
            self._db.close()
            raise

    def __enter__(self) -> Book:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; may be called again."""
        self._db.close()

    # --- transactions -----------------------------------------------------------------------------

    @contextmanager
    def asking(self) -> Iterator[sqlite3.Connection]:
        """Give the connection, and tell what goes wrong in one line.

        Raises:
            BookError: the file is none of ours, is locked for too long, or can't be used.
        """
        try:
            yield self._db
        except OverflowError as error:
            raise BookError(f"{self.path}: no book has a number as large as that") from error
        except (sqlite3.Error, UnicodeDecodeError) as error:  # SQLite tells of damage in raw bytes
            raise BookError(_told(self.path, error)) from error

    @contextmanager
    def changing(self) -> Iterator[sqlite3.Connection]:
        """Give the connection in a transaction: all that is done in it is kept, or nothing.

        Raises:
            BookError: as `asking`.
        """
        with self.asking() as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise

    # --- entries ----------------------------------------------------------------------------------

    def add(self, entry: Entry) -> Entry:
        """Put an entry in; return it with its number.

        Raises:
            BookError: it has something that no entry can have.
        """
        return self.add_all((entry,))[0]

    def add_all(self, entries: Iterable[Entry]) -> tuple[Entry, ...]:
        """Put entries in, all or none; return them with their numbers."""
        found = []
        with self.changing() as db:
            for entry in entries:
                row = row_of(checked(entry))
                names = ", ".join(row)
                marks = ", ".join("?" * len(row))
                done = db.execute(
                    f"INSERT INTO entries ({names}) VALUES ({marks})",  # noqa: S608 -- our names
                    tuple(row.values()),
                )
                number = int(done.lastrowid or 0)
                _put_tags(db, number, entry.tags)
                found.append(replace(entry, number=number))
        return tuple(found)

    def get(self, number: int) -> Entry:
        """Return an entry.

        Raises:
            BookError: there is none of this number.
        """
        found = self._entries("WHERE number = ?", (number,))
        if not found:
            raise self._missing(number)
        return found[0]

    def search(self, wanted: Wanted | None = None) -> tuple[Entry, ...]:
        """Return the entries that are wanted, by number."""
        where, values = conditions(wanted or Wanted())
        return self._entries(where, values)

    def change(
        self,
        number: int,
        *,
        title: str | None = None,
        remarks: str | None = None,
        label: str | None = None,
        starred: bool | None = None,
    ) -> Entry:
        """Change what is given; return the entry as it then is.

        Raises:
            BookError: there is none of this number, or a text is too long.
        """
        given = {"title": title, "remarks": remarks, "label": label, "starred": starred}
        check_text("title", title or "", LONGEST_LINE)
        check_text("note of one's own", remarks or "", LONGEST_TEXT)
        check_text("label", label or "", LONGEST_WORD)
        with self.changing() as db:
            self._known(db, number)
            for name, value in given.items():
                if value is not None:
                    db.execute(
                        f"UPDATE entries SET {name} = ? WHERE number = ?",  # noqa: S608 -- our names
                        (value, number),
                    )
        return self.get(number)

    def tag(self, number: int, tags: Iterable[str], *, off: bool = False) -> Entry:
        """Put tags on an entry, or take them off; return the entry as it then is.

        Raises:
            BookError: there is none of this number, or a tag is too long, or it has too many.
        """
        tags = tuple(tags)
        for tag in tags:
            check_tag(tag)
        with self.changing() as db:
            self._known(db, number)
            if off:
                pairs = [(number, tag) for tag in tags]
                db.executemany("DELETE FROM tags WHERE entry = ? AND tag = ?", pairs)
            else:
                _put_tags(db, number, tags)
                count = db.execute("SELECT COUNT(*) FROM tags WHERE entry = ?", (number,))
                if count.fetchone()[0] > MOST_TAGS:
                    raise BookError(f"{MOST_TAGS} tags are the most for an entry")
        return self.get(number)

    def remove(self, numbers: Iterable[int]) -> None:
        """Take entries out, all or none.

        Raises:
            BookError: there is none of one of these numbers.
        """
        with self.changing() as db:
            for number in numbers:
                self._known(db, number)
                db.execute("DELETE FROM entries WHERE number = ?", (number,))

    def twins(self, entry: Entry) -> tuple[Twin, ...]:
        """Return the other entries that are the same sequence, the most alike first."""
        return _twins(entry, self._entries("WHERE figure = ?", (figure_of(entry),)))

    def same(self) -> tuple[tuple[Entry, tuple[Twin, ...]], ...]:
        """Return every sequence that is there more than once: its first entry, and the others."""
        entries = self._entries(
            "WHERE figure IN (SELECT figure FROM entries GROUP BY figure HAVING COUNT(*) > 1)", ()
        )
        by_figure: dict[str, list[Entry]] = {}
        for entry in entries:
            by_figure.setdefault(figure_of(entry), []).append(entry)
        found = []
        for group in by_figure.values():
            while group:
                first = group.pop(0)
                twins = _twins(first, group)
                known = {twin.entry.number for twin in twins}
                group[:] = [entry for entry in group if entry.number not in known]
                if twins:
                    found.append((first, twins))
        return tuple(sorted(found, key=lambda one: one[0].number or 0))

    def tags(self) -> tuple[tuple[str, int], ...]:
        """Return all tags, and how many entries have each."""
        with self.asking() as db:
            rows = db.execute("SELECT tag, COUNT(*) FROM tags GROUP BY tag ORDER BY tag").fetchall()
        return tuple((str(tag), int(count)) for tag, count in rows)

    # --- inside -----------------------------------------------------------------------------------

    def _entries(self, where: str, values: Sequence[object]) -> tuple[Entry, ...]:
        with self.asking() as db:
            rows = db.execute(f"{_SELECT} {where} ORDER BY number", values).fetchall()
        return tuple(entry_in(row) for row in rows)

    def _known(self, db: sqlite3.Connection, number: int) -> None:
        if db.execute("SELECT 1 FROM entries WHERE number = ?", (number,)).fetchone() is None:
            raise self._missing(number)

    def _missing(self, number: int) -> BookError:
        return BookError(f"{self.path} has no entry {number}: livecont book list shows them")


def _twins(entry: Entry, others: Iterable[Entry]) -> tuple[Twin, ...]:
    """Return which of others of the same figure are the same sequence, the most alike first."""
    found = [
        Twin(entry=other, likeness=alike)
        for other in others
        if other.number != entry.number and (alike := likeness_in_figure(entry, other)) is not None
    ]
    order = list(Likeness)
    return tuple(sorted(found, key=lambda twin: order.index(twin.likeness)))


def _opened(path: Path) -> sqlite3.Connection:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        db = sqlite3.connect(path, timeout=PATIENCE_S, isolation_level=None)
    except (OSError, ValueError, sqlite3.Error) as error:
        what = getattr(error, "strerror", None) or error
        raise BookError(f"{path}: can't be opened as a book ({what})") from error
    db.row_factory = sqlite3.Row
    return db


def _told(path: Path, error: sqlite3.Error | UnicodeDecodeError) -> str:
    damage = ("SQLITE_NOTADB", "SQLITE_CORRUPT")
    if isinstance(error, UnicodeDecodeError) or getattr(error, "sqlite_errorname", "") in damage:
        return f"{path} is no book, or a damaged one ({error}): move it away, or name another"
    if "locked" in str(error):
        return f"{path}: another program has kept the book busy for {PATIENCE_S:.0f} s; try again"
    return f"{path}: the book can't be used ({error})"


def _folded(text: object) -> str:
    return str(text).casefold()


def _put_tags(db: sqlite3.Connection, number: int, tags: Iterable[str]) -> None:
    pairs = [(number, tag) for tag in tags]
    db.executemany("INSERT OR IGNORE INTO tags (entry, tag) VALUES (?, ?)", pairs)
