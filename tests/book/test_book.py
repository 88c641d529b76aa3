"""The book's file: entries in, found, changed, out; versions; other files; two at once; kills."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from livecont.book.answers import Answer, answers, keep_answer, players
from livecont.book.book import Book
from livecont.book.entry import Entry
from livecont.book.schema import CHANGES, bring_up, statements, version
from livecont.book.searching import Wanted
from livecont.errors import BookError
from livecont.music.key import parse_key
from livecont.sequence.pattern import Kind
from tests.book.volume import NOON, paper_entry, played_entry

TOP = Path(__file__).resolve().parents[2]
FULL = replace(
    paper_entry(), title="Ladder", source="suite.mxl", bars="3-6", label="D2 (D5/A4)",
    remarks="practise SLOWLY", tags=("fast", "left hand"), starred=True,
)  # fmt: skip


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "somewhere" / "book.sqlite"


def test_an_entry_comes_back_as_it_was(path: Path) -> None:
    with Book(path) as book:
        kept = [book.add(FULL), book.add(played_entry())]
    assert [entry.number for entry in kept] == [1, 2]
    with Book(path) as book:
        assert list(book.search()) == kept
        assert book.get(1) == replace(FULL, number=1)


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        (Wanted(), {1, 2}),
        (Wanted(text="slowly"), {1}),
        (Wanted(text="LADDER suite"), {1}),
        (Wanted(text="left"), {1}),
        (Wanted(text="ladder nothing"), set()),
        (Wanted(text="%"), set()),
        (Wanted(label="d2"), {1}),
        (Wanted(label="D5"), set()),
        (Wanted(step_degrees=-1), {1}),
        (Wanted(step_degrees=-2), {2}),
        (Wanted(unit_q=Fraction(4)), {1}),
        (Wanted(unit_s=2.1), {2}),
        (Wanted(unit_s=3.0), set()),
        (Wanted(key=parse_key("C major")), {1, 2}),
        (Wanted(key=parse_key("a minor")), set()),
        (Wanted(kind=Kind.TONAL), {1, 2}),
        (Wanted(kind=Kind.REAL), set()),
        (Wanted(tags=("fast", "left hand")), {1}),
        (Wanted(tags=("fas",)), set()),
        (Wanted(starred=True), {1}),
    ],
)
def test_entries_are_found_by_what_they_have(path: Path, wanted: Wanted, found: set[int]) -> None:
    with Book(path) as book:
        book.add_all((FULL, replace(played_entry(), step_degrees=-2)))
        assert {entry.number for entry in book.search(wanted)} == found


def test_entries_are_changed_and_taken_out_and_numbers_stay_theirs(path: Path) -> None:
    with Book(path) as book:
        book.add_all((FULL, FULL))
        changed = book.change(2, title="Stairs", remarks="", starred=False)
        assert (changed.title, changed.remarks, changed.starred) == ("Stairs", "", False)
        assert book.tag(2, ["new", "fast"]).tags == ("fast", "left hand", "new")
        assert book.tag(2, ["fast", "unknown"], off=True).tags == ("left hand", "new")
        assert book.tags() == (("fast", 1), ("left hand", 2), ("new", 1))
        book.remove([2])
        assert book.tags() == (("fast", 1), ("left hand", 1))
        assert book.add(FULL).number == 3
        with pytest.raises(BookError, match="no entry 2"):
            book.get(2)
        with pytest.raises(BookError, match="no entry 9"):
            book.remove([1, 9])
        assert book.get(1).title == "Ladder"  # all or none
        with pytest.raises(BookError, match="no entry 2"):
            book.change(2, title="x")


def test_many_entries_are_added_all_or_none(path: Path) -> None:
    with Book(path) as book:
        with pytest.raises(BookError, match="links"):
            book.add_all((FULL, replace(FULL, links=1)))
        assert book.search() == ()


def test_a_tag_too_many_is_refused(path: Path) -> None:
    with Book(path) as book:
        book.add(FULL)
        with pytest.raises(BookError, match="50 tags"):
            book.tag(1, [str(number) for number in range(60)])
        assert book.get(1).tags == FULL.tags


# --- versions -----------------------------------------------------------------------------------


def of_version(path: Path, number: int) -> None:
    """Write a book as a livecont of that version left it."""
    path.parent.mkdir(parents=True)
    db = sqlite3.connect(path)
    for script in CHANGES[:number]:
        db.executescript(script)
    db.execute(f"PRAGMA user_version = {number}")
    db.execute(
        "INSERT INTO entries (created, title, source, bars, remarks, starred, key, label,"
        " step_degrees, shift_semitones, kind, unit_s, unit_quarters, links, confidence, figure,"
        " music) SELECT ?, 'old', '', '', '', 0, 'C major', NULL, -1, NULL, 'tonal', 2.0, '4', 4,"
        " 1.0, '', ?",
        (NOON.isoformat(), music_of(paper_entry())),
    )
    db.commit()
    db.close()


def music_of(entry: Entry) -> str:
    import json

    from livecont.book.line import music_json

    return json.dumps(music_json(entry))


@pytest.mark.parametrize("number", range(1, len(CHANGES) + 1))
def test_a_book_of_any_earlier_version_is_brought_up(path: Path, number: int) -> None:
    of_version(path, number)
    with Book(path) as book:
        entry = book.get(1)
        assert (entry.title, entry.notes) == ("old", paper_entry().notes)
        keep_answer(book, Answer(at=NOON, player="p", exercise="answer", right=True))
        assert players(book) == ("p",)
    db = sqlite3.connect(path)
    assert version(db) == len(CHANGES)
    db.close()


def test_every_version_ends_with_the_tables_of_a_new_book(tmp_path: Path) -> None:
    def tables(path: Path) -> set[str]:
        with Book(path):
            pass
        db = sqlite3.connect(path)
        found = {str(row[0]) for row in db.execute("SELECT sql FROM sqlite_schema")}
        db.close()
        return found

    of_version(tmp_path / "old" / "b", 1)
    assert tables(tmp_path / "old" / "b") == tables(tmp_path / "new")


def test_a_change_that_fails_in_the_middle_leaves_the_book_as_it_was(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    of_version(path, 1)
    before = path.read_bytes()
    broken = "CREATE TABLE half (a);\nCREATE TABLE entries (b);\n"
    monkeypatch.setattr("livecont.book.schema.CHANGES", (CHANGES[0], broken))
    with pytest.raises(BookError, match="already exists"):
        Book(path)
    assert path.read_bytes() == before


def test_a_book_of_a_later_livecont_is_left_alone(path: Path) -> None:
    of_version(path, 1)
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version = {len(CHANGES) + 1}")
    db.close()
    before = path.read_bytes()
    with pytest.raises(BookError, match="later livecont"):
        Book(path)
    assert path.read_bytes() == before


def test_scripts_are_cut_into_whole_statements() -> None:
    assert all(sqlite3.complete_statement(one) for one in statements(CHANGES[0]))
    assert len(statements(CHANGES[0])) == 4


# --- files that are no book ---------------------------------------------------------------------


def test_another_file_is_no_book_and_is_left_alone(path: Path) -> None:
    path.parent.mkdir()
    path.write_bytes(b"MThd" + bytes(range(256)) * 20)
    before = path.read_bytes()
    with pytest.raises(BookError, match="no book"):
        Book(path)
    assert path.read_bytes() == before


def test_a_folder_is_no_book(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="can't be opened"):
        Book(tmp_path)


def test_a_damaged_entry_is_told_by_its_number(path: Path) -> None:
    with Book(path) as book:
        book.add_all((FULL, FULL))
        with book.changing() as db:
            db.execute("UPDATE entries SET music = '{}' WHERE number = 2")
        assert book.get(1).number == 1
        with pytest.raises(BookError, match="entry 2 of the book is damaged"):
            book.search()


# --- two at once, and kills ---------------------------------------------------------------------


def test_a_book_that_is_kept_busy_is_told_in_one_line(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("livecont.book.book.PATIENCE_S", 0.05)
    with Book(path) as one, Book(path) as other:
        with one.changing(), pytest.raises(BookError, match="busy"):
            other.add(FULL)
        assert other.add(FULL).number == 1


WRITER = """
import sys
from pathlib import Path
from livecont.book.answers import Answer, keep_answer
from livecont.book.book import Book
from tests.book.volume import NOON, played_entry
entry = played_entry()
with Book(Path(sys.argv[1])) as book:
    for count in range(int(sys.argv[2])):
        number = book.add(entry).number
        keep_answer(book, Answer(at=NOON, player="p", exercise="step", right=True,
                                 item={"entry": number}))
        print(number, flush=True)
"""


def writer(path: Path, count: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), str(count)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": str(TOP)},
    )


def test_two_processes_write_at_once_and_nothing_is_lost(path: Path) -> None:
    both = [writer(path, 40), writer(path, 40)]
    told = [int(line) for one in both for line in one.communicate()[0].split()]
    assert [one.returncode for one in both] == [0, 0]
    assert sorted(told) == list(range(1, 81))
    with Book(path) as book:
        assert len(book.search()) == 80
        assert sorted(one.item["entry"] for one in answers(book)) == sorted(told)


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is POSIX's")
def test_a_writer_killed_in_the_middle_loses_nothing_that_was_told(path: Path) -> None:
    told: list[int] = []
    for kills, after in enumerate((1, 7, 30), 1):
        one = writer(path, 100_000)
        assert one.stdout is not None
        told += [int(one.stdout.readline()) for _ in range(after)]
        one.send_signal(signal.SIGKILL)
        told += [int(line) for line in one.stdout if line.endswith("\n")]
        one.wait()
        one.stdout.close()
        with Book(path) as book:
            kept = {entry.number for entry in book.search()}
            assert set(told) <= kept
            assert len(kept - set(told)) <= kills  # kept, and killed before it could tell
            answered = {answer.item["entry"] for answer in answers(book)}
            assert set(told) <= answered <= kept
            with book.asking() as db:
                assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def test_between_changes_the_book_is_one_file(path: Path) -> None:
    with Book(path) as book:
        book.add(FULL)
        assert [one.name for one in path.parent.iterdir()] == [path.name]


def test_bringing_up_twice_changes_nothing(path: Path) -> None:
    with Book(path) as book, book.asking() as db:
        bring_up(db)
        assert version(db) == len(CHANGES)
