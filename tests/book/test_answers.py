"""Answers of the ear games in the book."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from livecont.book.answers import COLUMNS, Answer, answers, keep_answer, players, write_csv
from livecont.book.book import Book
from livecont.errors import BookError
from tests.book.volume import NOON

FIRST = Answer(
    at=NOON, player="ada", exercise="step", right=False,
    item={"step": -1, "key": "C major"}, detail={"played": [60, 59]}, difficulty=0.25,
)  # fmt: skip


def test_answers_come_back_in_order_and_by_player_and_exercise(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    second = replace(FIRST, player="bo", right=True, at=NOON + timedelta(seconds=5))
    third = replace(FIRST, exercise="answer", difficulty=None)
    with Book(path) as book:
        kept = [keep_answer(book, one) for one in (FIRST, second, third)]
        assert [one.number for one in kept] == [1, 2, 3]
    with Book(path) as book:
        assert list(answers(book)) == kept
        assert list(answers(book, player="ada")) == [kept[0], kept[2]]
        assert list(answers(book, player="ada", exercise="step")) == kept[:1]
        assert list(answers(book, last=2)) == kept[1:]
        assert players(book) == ("ada", "bo")


def test_answers_for_a_spreadsheet(tmp_path: Path) -> None:
    out = io.StringIO()
    with Book(tmp_path / "b") as book:
        write_csv([keep_answer(book, replace(FIRST, player="=1+1"))], out)
    rows = list(csv.reader(io.StringIO(out.getvalue())))
    assert tuple(rows[0]) == COLUMNS
    fields = dict(zip(COLUMNS, rows[1], strict=True))
    assert fields["player"] == "'=1+1"
    assert json.loads(fields["item"]) == FIRST.item
    assert (fields["right"], fields["difficulty"]) == ("0", "0.25")


def test_an_answer_that_is_not_json_is_refused(tmp_path: Path) -> None:
    with Book(tmp_path / "b") as book:
        with pytest.raises(BookError, match="not JSON"):
            keep_answer(book, replace(FIRST, item={"a": object()}))
        with pytest.raises(BookError, match="not JSON"):
            keep_answer(book, replace(FIRST, detail={"a": float("nan")}))
        with pytest.raises(BookError, match="player"):
            keep_answer(book, replace(FIRST, player="x" * 101))
        assert answers(book) == ()
