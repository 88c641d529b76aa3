"""Many files at once: order kept, each by itself, given up where it has to be."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from livecont.config import load_preferences
from livecont.errors import ScoreError
from livecont.score import survey as surveys
from livecont.score.survey import Request, look_through, score_files, survey
from tests.score.written import SEQUENCE, midi


@pytest.fixture
def request_() -> Request:
    return Request(compass=load_preferences().compasses["modern"])


def test_answers_come_in_the_order_asked_for(tmp_path: Path, request_: Request) -> None:
    names = [f"{n}.mid" for n in "dbac"]
    paths = [midi(tmp_path, *SEQUENCE, name=name) for name in names]
    (tmp_path / "broken.mid").write_bytes(b"MThd")
    done: list[int] = []
    answers = survey(
        [*paths, tmp_path / "broken.mid"], request_, jobs=2, done=lambda: done.append(1)
    )
    assert [answer.path.name for answer in answers] == [*names, "broken.mid"]
    assert len(done) == 5
    assert all(len(answer.found) == 1 for answer in answers[:4])
    assert answers[4].trouble is not None
    assert answers[4].trouble.startswith(str(tmp_path / "broken.mid"))


def test_a_file_that_takes_too_long_is_given_up(tmp_path: Path, request_: Request) -> None:
    path = midi(tmp_path, *SEQUENCE)
    (answer,) = survey([path], request_, longest_s=0.001)
    assert answer.trouble == f"{path}: given up after 0 s"


def test_a_reader_that_dies_costs_its_own_file_only(
    tmp_path: Path, request_: Request, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = midi(tmp_path, *SEQUENCE)
    monkeypatch.setattr(surveys, "_serve", os._exit)  # ends the process with a TypeError at once
    (answer,) = survey([path], request_)
    assert answer.trouble == f"{path}: it brought down the process that read it"
    monkeypatch.undo()
    (answer,) = survey([path], request_)
    assert answer.trouble is None


def test_look_through_tells_part_staff_and_bars(tmp_path: Path, request_: Request) -> None:
    from dataclasses import replace

    path = midi(tmp_path, *SEQUENCE)
    assert len(look_through(path, replace(request_, part="hand 1")).found) == 1
    assert look_through(path, replace(request_, bars=("9", "9"))).found == ()
    for wrong, match in (
        ({"part": "harp"}, "unknown part 'harp'"),
        ({"bars": ("1", "77")}, "no bar 77"),
    ):
        trouble = look_through(path, replace(request_, **wrong)).trouble
        assert trouble is not None
        assert trouble.startswith(f"{path}: ")
        assert match in trouble


def test_folders_are_searched_and_links_not_followed(tmp_path: Path) -> None:
    inner = tmp_path / "b"
    inner.mkdir()
    for name in ("z.mid", "a.MXL", "notes.txt", ".hidden.mid"):
        (inner / name).write_bytes(b"")
    (tmp_path / "x.krn").write_bytes(b"")
    if os.name == "posix":
        (inner / "circle").symlink_to(tmp_path, target_is_directory=True)
    found = [path.relative_to(tmp_path).as_posix() for path in score_files([str(tmp_path)])]
    assert found == ["b/a.MXL", "b/z.mid", "x.krn"]
    assert score_files([str(inner / "z.mid"), str(inner / "z.mid")]) == [inner / "z.mid"]
    (tmp_path / "empty").mkdir()
    with pytest.raises(ScoreError, match="no score in this folder"):
        score_files([str(tmp_path / "empty")])
