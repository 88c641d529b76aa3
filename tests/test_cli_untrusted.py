"""Files that nobody vouches for, from the outside: each ends soon, in one clear line, with 2."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from livecont.cli import run

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="fifos, and the alarm, are POSIX")
SOON_S = 20.0  # on a machine that is shared; alone it takes a tenth


class TooLate(BaseException):
    """The test's patience is at an end; no command catches this."""


@pytest.fixture(autouse=True)
def _aside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
    monkeypatch.delenv("LIVECONT_CONFIG", raising=False)
    monkeypatch.setenv("LIVECONT_DATA", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)

    def too_late(*_: object) -> None:
        raise TooLate

    before = signal.signal(signal.SIGALRM, too_late)
    signal.setitimer(signal.ITIMER_REAL, SOON_S)
    yield
    signal.setitimer(signal.ITIMER_REAL, 0)
    signal.signal(signal.SIGALRM, before)


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Run a command that is to be refused, and return its one line."""
    assert run(list(arguments)) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1, said.err
    return said.err


# --- what is no file ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (("book", "import"), "pipe.jsonl"),
        (("replay", "--list"), "pipe.jsonl"),
        (("replay",), "pipe.mid"),
        (("find",), "pipe.mid"),
        (("listen", "--config"), "pipe.toml"),
        (("replay", "a.mid", "--config"), "pipe.toml"),
        (("lesson",), "pipe.toml"),
        (("lesson", "--out", "none", "--piece"), "pipe.mid"),
        (("render", "--wav", "a.wav"), "pipe.mid"),
        (("sheet", "--svg", "a.svg", "--bars", "1-2"), "pipe.mid"),
    ],
)
@pytest.mark.parametrize("kind", ["fifo", "endless"])
def test_a_pipe_or_a_device_is_refused_unopened(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], name: str, kind: str
) -> None:
    if kind == "fifo":
        os.mkfifo(name)
    else:
        os.symlink("/dev/zero", name)
    told = refused(capsys, *arguments, name)
    assert f"{name}: " in told
    assert "not a file but a pipe or a device" in told
