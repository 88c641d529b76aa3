"""The stage on a real terminal (a pseudo-terminal pair) gives it back on every path out."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from livecont.screen import ScreenNotes, Stage
from livecont.sitting.snapshot import Snapshot

States = dict[str, tuple[Snapshot, ScreenNotes]]

needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX only")

ENTER, LEAVE = b"\x1b[?1049h", b"\x1b[?1049l"  # xterm's alternate screen
HIDE, SHOW = b"\x1b[?25l", b"\x1b[?25h"  # DECTCEM, the cursor

# what the child does: draws one page, then goes the way that is asked for
CHILD = """
import signal, sys
from livecont.music.compass import Compass
from livecont.screen import ScreenNotes, Stage
from livecont.sitting.snapshot import Phase, Snapshot

compass = Compass(name="c", title="", lowest=36, highest=84, absent=frozenset(), source="")
snapshot = Snapshot(at_s=0.0, phase=Phase.LISTENING, key=None, key_chosen=False, compass=compass,
    heard=(), pattern=None, links_heard=(), sounding=None, sounding_start_s=None, coming=(),
    links_left=None, held=(), last_end=None)

def leave(signum, frame):
    raise SystemExit(143)

signal.signal(signal.SIGTERM, leave)
way = sys.argv[1]
stage = Stage()
if way == "forgotten":
    stage.__enter__()
    stage.show(snapshot, ScreenNotes())
    sys.exit(3)
with stage:
    stage.show(snapshot, ScreenNotes(message="first"))
    if way == "exception":
        raise RuntimeError("in the middle")
    if way == "exit":
        sys.exit(3)
    if way == "signal":
        print("waiting", flush=True)
        signal.pause()
    if way == "interrupt":
        raise KeyboardInterrupt
print("after")
"""


def run_child(way: str) -> tuple[bytes, int]:
    """Run the child on a terminal of its own; return all that it wrote there, and its code."""
    import fcntl
    import pty
    import struct
    import termios

    ours, its = pty.openpty()
    fcntl.ioctl(its, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    environment = {
        **{name: value for name, value in os.environ.items() if name not in ("COLUMNS", "LINES")},
        "TERM": "xterm-256color",
        "PYTHONIOENCODING": "utf-8",
    }
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, way],
        stdin=its,
        stdout=its,
        stderr=its,
        env=environment,
        cwd=Path(__file__).resolve().parents[2],
    )
    os.close(its)
    written = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # Linux says EIO when the other side is gone
            break
        if not part:
            break
        written += part
        if way == "signal" and b"waiting" in written and child.poll() is None:
            child.send_signal(signal.SIGTERM)
            way = "signalled"
    os.close(ours)
    return written, child.wait(timeout=20)


@needs_pty
@pytest.mark.parametrize(
    ("way", "code", "said"),
    [
        ("end", 0, b"after"),
        ("exception", 1, b"in the middle"),
        ("exit", 3, b""),
        ("signal", 143, b""),
        ("interrupt", -signal.SIGINT, b"KeyboardInterrupt"),
        ("forgotten", 3, b""),
    ],
)
def test_the_terminal_is_given_back(way: str, code: int, said: bytes) -> None:
    written, left_with = run_child(way)
    assert left_with == code, written
    assert written.count(ENTER) == written.count(LEAVE) == 1
    assert written.index(ENTER) < written.index(HIDE) < written.index(LEAVE)
    assert written.rindex(SHOW) > written.rindex(HIDE)
    # what is said at the end is said on the terminal that the user gets back
    assert said in written[written.index(LEAVE) :]
    assert b"play two links of a sequence" in written[: written.index(LEAVE)]


class Terminal(io.StringIO):
    """A file that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def on_terminal() -> tuple[Stage, Terminal]:
    file = Terminal()
    console = Console(file=file, width=80, height=24, force_terminal=True, _environ={})
    return Stage(console), file


def test_a_page_that_has_not_changed_is_not_written_again(states: States) -> None:
    stage, file = on_terminal()
    snapshot, notes = states["sounding-sixth"]
    with stage:
        stage.show(snapshot, notes)
        size = len(file.getvalue())
        stage.show(replace(snapshot, at_s=snapshot.at_s + 1e-6), notes)
        assert len(file.getvalue()) == size
        stage.show(replace(snapshot, held=(60,)), notes)
        assert len(file.getvalue()) > size


def test_nothing_is_drawn_after_the_end(states: States) -> None:
    stage, file = on_terminal()
    with stage:
        stage.show(*states["understood"])
    text = file.getvalue()
    stage.show(*states["sounding-first"])
    stage.close()
    assert file.getvalue() == text


def test_a_page_never_scrolls(states: States) -> None:
    """A line feed after the last line would push the first one out."""
    stage, file = on_terminal()
    with stage:
        before = len(file.getvalue())
        stage.show(*states["sounding-sixth"])
        assert file.getvalue()[before:].count("\n") == 23


@pytest.mark.parametrize("forced", [False, True])
def test_what_is_no_terminal_gets_plain_lines(states: States, forced: bool) -> None:
    file = io.StringIO()
    with Stage(Console(file=file, force_terminal=forced, _environ={})) as stage:
        assert not stage.full_screen
        for name in ("listening-nothing-known", "ready-at-once", "sounding-first"):
            stage.show(*states[name])
        snapshot, notes = states["sounding-first"]
        stage.show(snapshot, replace(notes, message="the port [bold] is back"))
        stage.show(snapshot, replace(notes, message="the port [bold] is back"))
    lines = file.getvalue().splitlines()
    assert lines[0] == "listening: play two links of a sequence"
    assert lines[-2].startswith("livecont takes over: link 3 sounds, 20 links left, ")
    assert lines[-1] == "the port [bold] is back"
    assert "\x1b" not in file.getvalue()
