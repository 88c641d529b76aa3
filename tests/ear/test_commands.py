"""The commands around the game: progress, CSV, own settings, and what can be wrong, in one line."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from livecont.book.answers import Answer, answers
from livecont.book.book import Book
from livecont.cli import run
from livecont.config import load_preferences
from livecont.ear.asked import Answered, Exercise, Item, Source
from livecont.ear.keeping import answered_by, keeping, matter_of_entry
from livecont.ear.progress import curves, points
from livecont.ear.setup import Control, load_setup
from livecont.ear.staircase import Rules
from livecont.errors import BookError, ConfigError

MODERN = load_preferences().compasses["modern"]
ITEM = Item(exercise=Exercise.STEP, source=Source.MADE, name="line", key="G major", level=4, seed=3)


@pytest.fixture(autouse=True)
def _nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME", "LIVECONT_DATA"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.chdir(tmp_path)


def answer(right: bool, step: int = -1, player: str = "Kim") -> Answered:
    return Answered(
        player=player, item=ITEM, right=right, again=False, step_degrees=step, texture="line",
        detail={"played": -2},
    )  # fmt: skip


def kept_book(path: Path, *given: Answered) -> Path:
    moments = (datetime(2025, 1, 1, tzinfo=UTC) + timedelta(minutes=n) for n in range(99))
    with keeping(path, lambda: next(moments)) as keep:
        for one in given:
            keep(one)
    return path


def test_an_answer_is_in_the_file_when_keep_returns(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    with keeping(path, lambda: datetime(2025, 1, 1, tzinfo=UTC)) as keep:
        keep(answer(right=True))
        with Book(path) as other:  # as another process would see it
            (kept,) = answers(other)
    assert isinstance(kept, Answer)
    assert (kept.player, kept.exercise, kept.right, kept.difficulty) == ("Kim", "step", True, 4.0)


def test_answers_come_back_as_they_were(tmp_path: Path) -> None:
    path = kept_book(tmp_path / "b.sqlite", answer(True), answer(False, player="Robin"))
    with Book(path) as book:
        (one,) = answered_by(book, ["Kim"], "step")
        both = answered_by(book, ["Robin", "Kim"], "step")
        assert answered_by(book, ["Kim"], "answer") == ()
    assert (one.item, one.right, one.step_degrees, one.texture) == (ITEM, True, -1, "line")
    assert [who.player for who in both] == ["Kim", "Robin"]


def test_a_file_that_is_no_book_is_told_before_anything_sounds(tmp_path: Path) -> None:
    path = tmp_path / "b.sqlite"
    path.write_bytes(b"no database at all" * 100)
    with pytest.raises(BookError), keeping(path, lambda: datetime.now(UTC)):
        pass


# --- progress -----------------------------------------------------------------------------------


def test_curves_by_exercise_step_key_and_texture() -> None:
    given = [answer(right=n % 4 != 0, step=-1 if n % 2 else 1) for n in range(40)]
    found = curves(given, Rules())
    (exercise,) = found["exercise"]
    assert (exercise.name, exercise.count, exercise.right) == ("step", 40, 30)
    assert exercise.level is not None
    assert {curve.name: curve.right for curve in found["step"]} == {
        "a second down": 20, "a second up": 10,
    }  # fmt: skip
    assert [curve.name for curve in found["key"]] == ["G major"]
    assert [curve.name for curve in found["texture"]] == ["line"]


def test_points_are_shares_of_the_latest_answers() -> None:
    assert points([]) == ()
    assert points([True] * 3) == (1.0, 1.0, 1.0)
    assert points([False] * 10 + [True] * 10, most=4) == (0.0, 0.0, 5 / 8, 1.0)
    assert len(points([True] * 500)) == 24


def test_progress_is_shown_for_each_player(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = kept_book(
        tmp_path / "b.sqlite", *[answer(n > 4) for n in range(10)], answer(True, player="Robin")
    )
    assert run(["ear", "--progress", "--book", str(path)]) == 0
    out = capsys.readouterr().out
    assert "Kim: 10 answers, 5 right" in out
    assert "Robin: 1 answers, 1 right" in out
    assert "50 % of   10  ▁▁▁▁▁▂▃▄▅▆  level" in out
    for kind in ("by exercise", "by step", "by key", "by texture", "a second down", "G major"):
        assert kind in out
    assert run(["ear", "--progress", "--book", str(path), "--player", "Robin"]) == 0
    assert "Kim" not in capsys.readouterr().out


def test_progress_without_answers_says_how_to_begin(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["ear", "--progress", "--book", "empty.sqlite"]) == 0
    assert "livecont ear begins" in capsys.readouterr().out


def test_csv_has_every_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = kept_book(tmp_path / "b.sqlite", answer(True), answer(False, player="Robin"))
    assert run(["ear", "--csv", "out.csv", "--book", str(path)]) == 0
    assert run(["ear", "--csv", "-", "--book", str(path)]) == 0
    written = Path("out.csv").read_text("utf-8")
    assert capsys.readouterr().out == written
    rows = list(csv.DictReader(io.StringIO(written)))
    assert [(row["player"], row["right"]) for row in rows] == [("Kim", "1"), ("Robin", "0")]
    assert run(["ear", "--csv", "out.csv", "--book", str(path)]) == 2
    assert "choose another name" in capsys.readouterr().err


# --- settings -----------------------------------------------------------------------------------


def test_the_players_own_file_wins(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(
        "[ear.staircase]\nrights = 3\n[ear.judging]\nany-octave = true\n"
        '[ear.controls]\ngo = ["key A0", "pedal soft"]\nagain = []\n[ear.pace]\nnext = 1\n',
        encoding="utf-8",
    )
    setup = load_setup(MODERN, path)
    assert setup.rules.rights == 3
    assert setup.rules.start == load_setup(MODERN).rules.start
    assert setup.any_octave
    assert (setup.keys, setup.pedals) == ({21: Control.GO}, {67: Control.GO})
    assert setup.pace.next_s == 1
    load_preferences(path)  # and the other commands take the same file


def test_the_lowest_and_the_highest_key_are_those_of_the_compass() -> None:
    small = load_preferences().compasses["controller-61"]
    assert load_setup(small).keys == {36: Control.GO, 96: Control.AGAIN}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[ear.staircase]\nrights = 9", "line 2, ear.staircase.rights: 9 is not between 1 and 4"),
        ("[ear.returning]\ngaps = [0]", "needs a list of whole numbers"),
        ('[ear.controls]\ngo = ["elbow"]', "'elbow' is none of"),
        ('[ear.controls]\ngo = ["key H2"]', "'H2' is no note"),
        ('[ear.judging]\nany-octave = "no"', "needs true or false"),
        ("[ear.pace]\nspeed = 1", "unknown line 'speed'"),
        ("[ear.levels]\n", "unknown line 'levels'"),
    ],
)
def test_a_fault_in_the_players_file_is_named(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match=told):
        load_setup(MODERN, path)


# --- what can be wrong --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["ear", "dance"], "'dance' is not one of"),
        (["ear", "--keys", "H major", "--out", "none"], "H major"),
        (["ear", "--from", "book", "--out", "none"], "the book is empty"),
        (["ear", "--player", " ", "--out", "none"], "name needs letters"),
        (["ear", "--player", "Kim", "--player", "K\x1b[31m", "--out", "none"], "control signs"),
        (["lesson", "--player", "x" * 1000, "--out", "none"], "name has 1000 signs"),
        (["lesson", "nothing-like-it"], "unknown lesson"),
        (["lesson", "--model", "nothing-like-it", "--out", "none"], "unknown model"),
        (["lesson", "--model", "lament", "--played"], "one of --model, --entry"),
        (["lesson", "--key", "e minor", "--out", "none"], "name a major key"),
        (["lesson", "--entry", "7", "--out", "none"], "has no entry 7"),
        (["lesson", "--piece", "no.mid", "--out", "none"], "no.mid"),
    ],
)
def test_what_is_wrong_is_told_in_one_line(
    arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(arguments) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1


def test_lessons_and_models_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["lesson", "--list"]) == 0
    out = capsys.readouterr().out
    assert "lesson falling-fifths" in out
    assert "model  lament" in out


# --- what a lesson can be about -----------------------------------------------------------------


def prepared(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> object:
    """The lesson that a command line makes, without holding it."""
    from livecont.commands import ear_session

    held: list[object] = []

    def keep(machine: object, *_: object) -> int:
        held.append(machine)
        return 0

    monkeypatch.setattr(ear_session, "hold", keep)
    assert run(["lesson", *arguments, "--out", "none"]) == 0
    return held[0]


def test_a_take_an_entry_and_a_score_can_be_what_a_lesson_is_about(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from livecont.ear.machines import LessonMachine

    assert run(["demo", "rising-gigue", "--write", "gigue.mid"]) == 0
    assert run(["book", "add", "gigue.mid", "--key", "D major", "--book", "b.sqlite"]) == 0
    for given in (
        ("--piece", "gigue.mid", "--key", "D major"),
        ("--entry", "1", "--book", "b.sqlite"),
        ("--entry", "1", "--book", "b.sqlite", "--key", "F major"),
    ):
        machine = prepared(monkeypatch, *given)
        assert isinstance(machine, LessonMachine)
        matter = machine.teaching.matter
        assert matter is not None
        assert matter.pattern.step_degrees == 1
        assert matter.pattern.key.name == ("F major" if "F major" in given else "D major")
        assert matter.pattern.links_heard == 2
        assert not machine.teaching.of_a_model
    machine = prepared(monkeypatch, "--played", "--key", "e minor")
    assert isinstance(machine, LessonMachine)
    assert machine.teaching.matter is None
    with Book(Path("b.sqlite")) as book:
        assert matter_of_entry(book.get(1)).pattern.step_degrees == 1
    capsys.readouterr()
