"""Keeping the last sequence while a sitting goes on."""

from __future__ import annotations

from pathlib import Path

from livecont.book.book import Book
from livecont.commands.keeping import Keeper
from livecont.sitting.events import Ended, Understood
from tests.book.volume import NOON, hear, heard
from tests.sitting.material import LINKS


def understood(words: str | None = None) -> Understood:
    pattern = heard() if words is None else hear(words, "C major")
    return Understood(at_s=1.0, pattern=pattern)


def keeper_of(path: Path) -> Keeper:
    return Keeper(path, lambda: NOON)


def test_what_was_understood_last_is_kept_once(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    with keeper_of(path) as keeper:
        keeper.keep("take.mid")
        assert keeper.said is not None
        assert "nothing to keep yet" in keeper.said
        keeper.hear(understood(" ".join(LINKS[2:4])))
        keeper.hear(understood())
        keeper.hear(Ended(at_s=2.0, reason="limit"))
        keeper.keep("take.mid")
        keeper.keep("take.mid")
    with Book(path) as book:
        (entry,) = book.search()
    assert entry.source == "take.mid"
    assert entry.created == NOON
    assert entry.notes[0].spelling == heard().positions[0].heard[0]
    assert keeper.said.startswith("kept as entry 1: ")
    assert keeper.said.endswith(", C major")
    assert len(keeper.said) < 60
    assert "\n" not in keeper.said


def test_the_same_sequence_kept_again_is_pointed_out(tmp_path: Path) -> None:
    with keeper_of(tmp_path / "b") as keeper:
        keeper.hear(understood())
        keeper.keep("one.mid")
        keeper.hear(understood())
        keeper.keep("two.mid")
    assert keeper.said is not None
    assert keeper.said.endswith("; in entry 1 already, the same notes")
    assert len(keeper.said) < 76  # a line of the screen


def test_a_book_that_can_not_be_written_to_is_told_and_tried_again(tmp_path: Path) -> None:
    path = tmp_path / "b"
    path.write_bytes(b"no book" * 1000)
    with keeper_of(path) as keeper:
        keeper.hear(understood())
        keeper.keep("one.mid")
        keeper._pool.submit(int).result()
        assert keeper.said is not None
        assert keeper.said.startswith("not kept: ")
        path.unlink()
        keeper.keep("one.mid")
    assert keeper.said.startswith("kept as entry 1")
