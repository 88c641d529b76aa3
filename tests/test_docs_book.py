"""The README's examples of `book` and `render`: what stands below each command is what comes out.

`UPDATE_GOLDEN=1 python -m pytest tests/test_docs_book.py` writes it anew.
"""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

import pytest

from livecont.cli import run

README = Path(__file__).resolve().parent.parent / "README.md"
UPDATE = bool(os.environ.get("UPDATE_GOLDEN"))
SECTIONS = ("book", "render")


@pytest.fixture(autouse=True)
def _nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.setenv("LIVECONT_DATA", str(tmp_path))
    monkeypatch.chdir(tmp_path)


def section(text: str, command: str) -> str:
    return (
        text.split(f"### `livecont {command}`\n", 1)[1]
        .split("\n### ", 1)[0]
        .split("\n## ", maxsplit=1)[0]
    )


@pytest.mark.parametrize("command", SECTIONS)
def test_every_example_is_real(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = README.read_text("utf-8")
    shown = re.findall(r"^```text\n(.*?)^```$", section(text, command), re.DOTALL | re.MULTILINE)
    assert shown
    for block in shown:
        now = ""
        for line in block.splitlines():
            if not line.startswith("$ "):
                continue
            assert run(shlex.split(line.removeprefix("$ livecont "))) == 0, line
            out = capsys.readouterr().out
            now += f"{line}\n" + "".join(f"{one.rstrip()}\n" for one in out.splitlines())
        if UPDATE:
            text = text.replace(block, now)
            README.write_text(text, "utf-8")
        assert now == block


def test_every_temperament_is_in_the_readme() -> None:
    from livecont.tuning import load_temperaments

    told = section(README.read_text("utf-8"), "render")
    for name in load_temperaments():
        assert f"`{name}`" in told
