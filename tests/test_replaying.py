"""Recordings replayed several at once: the same is told, in the same order."""

from __future__ import annotations

from pathlib import Path

from livecont.cli import run
from livecont.commands.replaying import WORTH_PROCESSES, outcomes_of
from livecont.config import load_preferences
from livecont.demo import demo_names
from livecont.replay import Item


def test_several_at_once_tell_what_one_by_one_tells(tmp_path: Path) -> None:
    items = []
    for name in demo_names():
        assert run(["demo", name, "--write", str(tmp_path / f"{name}.mid")]) == 0
        items.append(Item(name=name, path=tmp_path / f"{name}.mid"))
    items.append(Item(name="gone", path=tmp_path / "gone.mid"))
    assert len(items) >= WORTH_PROCESSES
    settings = load_preferences(None, {}).settings
    at_once = list(outcomes_of(items, settings, 1, jobs=2))
    in_turn = list(outcomes_of(items, settings, 1, jobs=1))
    assert [o.lines for o in at_once] == [o.lines for o in in_turn]
    assert [str(o.error) for o in at_once] == [str(o.error) for o in in_turn]
    assert at_once[-1].error is not None
    assert "gone.mid" in str(at_once[-1].error)
