"""Every state of a sitting as plain text, one file each; look at them after each change.

`UPDATE_GOLDEN=1 python -m pytest tests/screen` (or `--update-golden`) writes them anew.
"""

from __future__ import annotations

import io
import os
from pathlib import Path

import pytest
from rich.console import Console

from livecont.screen import ScreenNotes, picture, render
from livecont.sitting.snapshot import Snapshot

GOLDEN = Path(__file__).resolve().parents[1] / "golden" / "screen"
SIZES = ((60, 24), (80, 24), (120, 40))
HOW = "changed: look at it, and if it is meant run UPDATE_GOLDEN=1 pytest tests/screen"


def as_text(
    snapshot: Snapshot, notes: ScreenNotes, width: int, height: int, encoding: str = "utf-8"
) -> str:
    """Print through rich as a file of an encoding would get it."""
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding, newline="\n")
    console = Console(
        file=file, width=width, height=height, color_system=None, legacy_windows=False, _environ={}
    )
    console.print(render(snapshot, width=width, height=height, notes=notes), end="")
    file.flush()
    lines = raw.getvalue().decode(encoding).split("\n")
    assert len(lines) == height + 1
    return "\n".join(line.rstrip() for line in lines)


def check(path: Path, text: str, request: pytest.FixtureRequest) -> None:
    if os.environ.get("UPDATE_GOLDEN") or request.config.getoption("--update-golden", False):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    assert text == path.read_text(encoding="utf-8"), f"{path.name} {HOW}"


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_each_state(
    state: tuple[Snapshot, ScreenNotes], width: int, height: int, request: pytest.FixtureRequest
) -> None:
    name = request.node.callspec.id.removesuffix(f"-{width}-{height}")
    name = name.removeprefix(f"{width}-{height}-")
    check(GOLDEN / f"{name}-{width}.txt", as_text(*state, width, height), request)


@pytest.mark.parametrize(
    "name", ["listening-key-estimated", "sounding-first", "sounding-explained", "sounding-real"]
)
def test_for_a_room(
    states: dict[str, tuple[Snapshot, ScreenNotes]], name: str, request: pytest.FixtureRequest
) -> None:
    check(GOLDEN / f"{name}-200.txt", as_text(*states[name], 200, 60), request)


@pytest.mark.parametrize("name", ["sounding-sixth", "sounding-explained"])
def test_where_only_ascii_can_be_shown(
    states: dict[str, tuple[Snapshot, ScreenNotes]], name: str, request: pytest.FixtureRequest
) -> None:
    check(GOLDEN / f"{name}-80-ascii.txt", as_text(*states[name], 80, 24, "ascii"), request)


@pytest.mark.parametrize(
    "name", ["listening-key-estimated", "sounding-sixth", "sounding-explained", "ready-on-cue"]
)
def test_pictures(
    states: dict[str, tuple[Snapshot, ScreenNotes]],
    name: str,
    tmp_path: Path,
    request: pytest.FixtureRequest,
) -> None:
    snapshot, notes = states[name]
    picture(snapshot, tmp_path / "page.svg", notes=notes)
    text = (tmp_path / "page.svg").read_text(encoding="utf-8")
    check(GOLDEN / f"{name}-80.svg", text, request)
