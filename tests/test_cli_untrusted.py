"""Files that nobody vouches for, from the outside: each ends soon, in one clear line, with 2.

And a terminal that is closed under a command, which ends it without a word.
"""

from __future__ import annotations

import os
import signal
import struct
import subprocess
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


# --- MIDI files ---------------------------------------------------------------------------------


def midi_file(track: bytes) -> str:
    """Write a MIDI file of one track, 480 ticks a quarter, and return its name."""
    head = b"MThd" + struct.pack(">LHHH", 6, 0, 1, 480)
    Path("a.mid").write_bytes(head + b"MTrk" + struct.pack(">L", len(track)) + track)
    return "a.mid"


CHORD = b"".join(bytes([0, 0x90, 21 + n % 88, 64]) for n in range(300_000))
# between two notes, 80 tempi of a few microseconds a quarter
RUSH = b"".join(
    bytes([1, 0xFF, 0x51, 3, 0, 0, 1 + n % 3]) * 80
    + bytes([1, 0x90, 80 - n % 40, 64, 16, 0x80, 80 - n % 40, 0])
    for n in range(5000)
)


@pytest.mark.parametrize("track", [CHORD, RUSH], ids=["chord", "tempos"])
@pytest.mark.parametrize("command", [("replay",), ("lesson", "--out", "none", "--piece")])
def test_what_nobody_can_play_is_refused_soon(
    capsys: pytest.CaptureFixture[str], track: bytes, command: tuple[str, ...]
) -> None:
    told = refused(capsys, *command, midi_file(track))
    assert "a.mid: more than 2000 notes within a second, at 0.00 s: not a recording" in told


@pytest.mark.parametrize(
    ("track", "told"),
    [
        (bytes([0, 0x90]), "it is cut off"),
        (bytes([0, 60, 64]), "it is damaged"),
        (bytes([0, 0xF4, 0]), "it is damaged"),
    ],
)
def test_a_broken_midi_file_is_told_in_our_words(
    capsys: pytest.CaptureFixture[str], track: bytes, told: str
) -> None:
    assert refused(capsys, "find", midi_file(track)) == (
        f"livecont: a.mid: a MIDI file that can't be read: {told}; export the piece anew\n"
    )


# --- a closed terminal --------------------------------------------------------------------------


@pytest.mark.parametrize("arguments", [["lesson", "--list"], ["replay", "none.mid"], ["--help"]])
def test_a_terminal_that_is_gone_ends_a_command_as_a_hangup_does(arguments: list[str]) -> None:
    """128 and SIGHUP, as shells have it."""
    here, terminal = os.openpty()
    os.close(here)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "livecont", *arguments],
            stdin=subprocess.DEVNULL, stdout=terminal, stderr=terminal, check=False,
        )  # fmt: skip
    finally:
        os.close(terminal)
    assert done.returncode == 128 + signal.SIGHUP


def test_only_the_terminal_s_own_loss_is_told_to_nobody(tmp_path: Path) -> None:
    """Where the errors go elsewhere, nothing is written there."""
    here, terminal = os.openpty()
    os.close(here)
    with (tmp_path / "errors").open("wb") as errors:
        done = subprocess.run(
            [sys.executable, "-m", "livecont", "lesson", "--list"],
            stdin=subprocess.DEVNULL, stdout=terminal, stderr=errors, check=False,
        )  # fmt: skip
    os.close(terminal)
    assert done.returncode == 129
    assert (tmp_path / "errors").read_bytes() == b""
