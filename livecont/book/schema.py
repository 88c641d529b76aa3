"""The book's tables, and how an older book becomes a newer one.

Conventions: `PRAGMA user_version` is the number of changes that a file has been through. Each
change is a script; a file goes through those it lacks in one transaction, so that it is of one
version or of the other, never between. A file of a later livecont is left alone.
"""

from __future__ import annotations

import sqlite3

from livecont.errors import BookError

_ENTRIES = """
CREATE TABLE entries (
    number INTEGER PRIMARY KEY AUTOINCREMENT,  -- never given twice
    created TEXT NOT NULL,                     -- ISO 8601, UTC
    title TEXT NOT NULL,
    source TEXT NOT NULL,
    bars TEXT NOT NULL,
    remarks TEXT NOT NULL,
    starred INTEGER NOT NULL CHECK (starred IN (0, 1)),
    key TEXT NOT NULL,
    label TEXT,
    step_degrees INTEGER NOT NULL,
    shift_semitones INTEGER,
    kind TEXT NOT NULL,
    unit_s REAL NOT NULL,
    unit_quarters TEXT,                        -- a fraction
    links INTEGER NOT NULL,
    confidence REAL NOT NULL,
    figure TEXT NOT NULL,                      -- the same for the same sequence moved elsewhere
    music TEXT NOT NULL                        -- JSON: notes, pedals, before, printed
);
CREATE INDEX entries_figure ON entries (figure);
CREATE TABLE tags (
    entry INTEGER NOT NULL REFERENCES entries (number) ON DELETE CASCADE,
    tag TEXT NOT NULL,
    PRIMARY KEY (entry, tag)
);
CREATE INDEX tags_tag ON tags (tag);
"""
_ANSWERS = """
CREATE TABLE answers (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    at TEXT NOT NULL,                          -- ISO 8601, UTC
    player TEXT NOT NULL,
    exercise TEXT NOT NULL,
    item TEXT NOT NULL,                        -- JSON: what was asked
    was_right INTEGER NOT NULL CHECK (was_right IN (0, 1)),
    detail TEXT NOT NULL,                      -- JSON: how it was answered and judged
    difficulty REAL
);
CREATE INDEX answers_player ON answers (player, exercise, number);
"""
CHANGES = (_ENTRIES, _ANSWERS)


def bring_up(db: sqlite3.Connection) -> None:
    """Bring a book up to the present version; a new file gets its tables.

    Raises:
        BookError: it is of a later livecont.
    """
    if version(db) == len(CHANGES):
        return
    db.execute("BEGIN IMMEDIATE")
    try:
        at = version(db)  # another process may have been quicker
        if at > len(CHANGES):
            raise BookError(
                f"the book is of version {at}, made by a later livecont; "
                f"this one knows {len(CHANGES)}: update livecont, or name another with --book"
            )
        for script in CHANGES[at:]:
            for statement in statements(script):
                db.execute(statement)
        db.execute(f"PRAGMA user_version = {len(CHANGES)}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def version(db: sqlite3.Connection) -> int:
    """Return a book's version, 0 for a new file."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def statements(script: str) -> tuple[str, ...]:
    """Return a script's statements: `executescript` would commit what came before."""
    found, begun = [], ""
    for line in script.splitlines(keepends=True):
        begun += line
        if sqlite3.complete_statement(begun):
            found.append(begun.strip())
            begun = ""
    return tuple(found)
