"""A book with bytes changed, cut off or put in: told in one line or read, never anything else."""

from __future__ import annotations

import random  # noqa: TID251 -- seeded
import sqlite3
from pathlib import Path

import pytest

from livecont.book.answers import Answer, answers, keep_answer
from livecont.book.book import Book
from livecont.book.searching import Wanted
from livecont.errors import BookError
from tests.book.volume import NOON, paper_entry, played_entry

TRIES = 150


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("book") / "book.sqlite"
    with Book(path) as book:
        book.add_all((paper_entry(), played_entry()) * 3)
        book.tag(2, ["fast"])
        keep_answer(book, Answer(at=NOON, player="p", exercise="step", right=True))
    return path.read_bytes()


def use(path: Path) -> bool:
    """Do what there is to do with a book; whether it was one."""
    try:
        with Book(path) as book:
            entries = book.search(Wanted(text="a"))
            entries += book.search()
            for entry in entries[:3]:
                book.twins(entry)
            answers(book)
            book.tags()
            if entries and entries[0].number is not None:
                book.change(entries[0].number, title="new")
            book.add(played_entry())
    except BookError as error:
        assert "\n" not in str(error)  # noqa: PT017 -- either is right
        return False
    return True


@pytest.mark.parametrize("seed", range(4))
def test_changed_bytes(whole: bytes, tmp_path: Path, seed: int) -> None:
    dice = random.Random(seed)
    read = 0
    for number in range(TRIES // 4):
        data = bytearray(whole)
        for _ in range(dice.choice((1, 3, 30))):
            data[dice.randrange(len(data))] = dice.randrange(256)
        if dice.random() < 0.2:
            del data[dice.randrange(len(data)) :]
        path = tmp_path / f"{number}.sqlite"
        path.write_bytes(data)
        read += use(path)
    assert 0 < read < TRIES // 4


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE entries SET key = X'00FF'",
        "UPDATE entries SET key = 'Q major'",
        "UPDATE entries SET created = 'then'",
        "UPDATE entries SET created = 5",
        "UPDATE entries SET unit_s = 'long'",
        "UPDATE entries SET unit_s = 1e400",
        "UPDATE entries SET unit_quarters = '1/0' WHERE number = 1",
        "UPDATE entries SET links = 0",
        "UPDATE entries SET links = 'two'",
        "UPDATE entries SET music = X'00'",
        "UPDATE entries SET music = '[]'",
        "UPDATE entries SET title = X'FF'",
        "UPDATE entries SET confidence = NULL || 'x'",
        "UPDATE entries SET step_degrees = 1e300",
        "UPDATE entries SET number = -5 WHERE number = 1",
        "UPDATE tags SET tag = X'FF00'",
        "UPDATE answers SET item = '3'",
        "UPDATE answers SET at = 'noon'",
        "DROP TABLE tags",
        "DROP TABLE entries",
        "PRAGMA user_version = 1",
        "PRAGMA user_version = -1",
    ],
)
def test_what_another_program_wrote(whole: bytes, tmp_path: Path, change: str) -> None:
    path = tmp_path / "book.sqlite"
    path.write_bytes(whole)
    db = sqlite3.connect(path)
    try:
        db.execute(change)
        db.commit()
    except sqlite3.IntegrityError:
        return  # the table itself refuses it
    finally:
        db.close()
    use(path)
