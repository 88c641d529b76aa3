"""Work in a process of its own: its answer, its errors, and what happens when it is lost."""

from __future__ import annotations

import os
import select
from pathlib import Path

import pytest

from livecont.errors import ConfigError, ScoreError
from livecont.music.key import parse_key
from livecont.score import confined as module
from livecont.score.confined import confined
from livecont.score.reading import read_score


def test_the_answer_comes_back() -> None:
    assert confined(pow, 2, 5, mod=7) == 4
    assert confined(parse_key, "e minor") == parse_key("e minor")


def test_errors_of_the_family_come_back_as_they_are() -> None:
    with pytest.raises(ConfigError, match="unknown key 'h'"):
        confined(parse_key, "h")
    with pytest.raises(ScoreError, match="can't be read"):
        confined(read_score, Path("none.mxl"))


def test_a_process_that_is_lost_is_said() -> None:
    with pytest.raises(ScoreError, match="brought down the process"):
        confined(os._exit, 3)


def test_a_process_that_does_not_come_back_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LONGEST_S", 0.5)
    with pytest.raises(ScoreError, match="given up after 0 s"):
        confined(select.select, [], [], [], 600.0)


def test_too_much_memory_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ScoreError, match="too much for this machine"):
        confined(bytes, 64 * 2**30)
