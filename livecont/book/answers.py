"""The answers of the ear games, kept in the book one by one.

Conventions: an answer is on the disk when `keep_answer` returns. `item` says what was asked and
`detail` how it was answered, as JSON objects of the game's own; `right` is the verdict, and
`difficulty` a number on the game's own scale, or None. Moments are handed in, in UTC. Answers are
read in the order in which they were kept.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import IO, Any

from livecont.book.book import Book
from livecont.book.entry import LONGEST_WORD, check_text
from livecont.book.fields import LONGEST_LINE_BYTES, moment_of, parse
from livecont.errors import BookError

COLUMNS = ("number", "at", "player", "exercise", "right", "difficulty", "item", "detail")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One answer; `number` is None until it is kept."""

    at: datetime
    player: str
    exercise: str
    right: bool
    item: Mapping[str, Any] = field(default_factory=dict)
    detail: Mapping[str, Any] = field(default_factory=dict)
    difficulty: float | None = None
    number: int | None = None


def check_player(name: str) -> None:
    """Check that a player's name can be kept, before anything is asked of him.

    Raises:
        BookError: it is empty, too long, or has signs that can't be shown.
    """
    if not name.strip():
        raise BookError("a player's name needs letters: --player Kim, say")
    check_text("player's name", name, LONGEST_WORD)
    if not name.isprintable():
        raise BookError("the player's name has control signs in it")


def keep_answer(book: Book, answer: Answer) -> Answer:
    """Put an answer into the book at once; return it with its number.

    Raises:
        BookError: a name is too long, or the book can't be written to.
    """
    check_text("player's name", answer.player, LONGEST_WORD)
    check_text("exercise's name", answer.exercise, LONGEST_WORD)
    item, detail = _text(answer.item), _text(answer.detail)
    at = answer.at.astimezone(UTC)
    with book.changing() as db:
        done = db.execute(
            "INSERT INTO answers (at, player, exercise, item, was_right, detail, difficulty)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                at.isoformat(), answer.player, answer.exercise, item,
                int(answer.right), detail, answer.difficulty,
            ),
        )  # fmt: skip
    return Answer(
        at=at,
        player=answer.player,
        exercise=answer.exercise,
        right=answer.right,
        item=answer.item,
        detail=answer.detail,
        difficulty=answer.difficulty,
        number=done.lastrowid,
    )


def answers(
    book: Book, player: str | None = None, exercise: str | None = None, last: int | None = None
) -> tuple[Answer, ...]:
    """Return answers, oldest first; of one player, to one exercise, the `last` so many.

    Raises:
        BookError: the book can't be read, or an answer in it is damaged.
    """
    with book.asking() as db:
        rows = db.execute(
            "SELECT * FROM answers WHERE player = ifnull(?, player)"
            " AND exercise = ifnull(?, exercise) ORDER BY number DESC LIMIT ?",
            (player, exercise, -1 if last is None else last),
        ).fetchall()
    return tuple(_answer(row) for row in reversed(rows))


def players(book: Book) -> tuple[str, ...]:
    """Return the names of all who have answered, by name."""
    with book.asking() as db:
        rows = db.execute("SELECT DISTINCT player FROM answers ORDER BY player").fetchall()
    return tuple(str(row["player"]) for row in rows)


def write_csv(found: Iterable[Answer], out: IO[str]) -> None:
    """Write answers for a spreadsheet, a line each; items and details as JSON."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in found:
        names = (_harmless(one.player), _harmless(one.exercise))
        difficulty = "" if one.difficulty is None else one.difficulty
        writer.writerow(
            (
                one.number, one.at.isoformat(), *names, int(one.right), difficulty,
                _text(one.item), _text(one.detail),
            )
        )  # fmt: skip


def _answer(row: Any) -> Answer:
    item, detail = parse(row["item"]), parse(row["detail"])
    if not isinstance(item, dict) or not isinstance(detail, dict):
        raise BookError(f"answer {row['number']} of the book is damaged")
    return Answer(
        number=row["number"],
        at=moment_of(row["at"]),
        player=row["player"],
        exercise=row["exercise"],
        right=bool(row["was_right"]),
        item=item,
        detail=detail,
        difficulty=row["difficulty"],
    )


def _text(value: Mapping[str, Any]) -> str:
    try:
        text = json.dumps(dict(value), ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise BookError(f"an answer that is not JSON ({error})") from error
    if len(text) > LONGEST_LINE_BYTES:
        raise BookError("an answer that is too long to be kept")
    return text


def _harmless(text: str) -> str:
    """Keep a spreadsheet from taking a name for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text
