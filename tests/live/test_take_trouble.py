"""The recorder of takes among what goes wrong in its folder: old journals, no answer, no folder."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from livecont.live.clock import SystemClock
from livecont.live.take import TakeRecorder
from livecont.live.take_folder import list_takes, repair_takes
from livecont.sequence.events import KeyDown
from tests.live.killed import KILLED

TOP = Path(__file__).resolve().parents[2]
STARTED = datetime(2025, 1, 31, 20, 15)  # noqa: DTZ001 -- takes are named by the wall clock


def until(true: Callable[[], bool], patience_s: float = 20.0) -> bool:
    """Wait until something is so; return whether it came to be."""
    clock = SystemClock()
    ends_s = clock.now_s() + patience_s
    while not true() and clock.now_s() < ends_s:
        clock.sleep_until(clock.now_s() + 0.01)
    return true()


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_a_long_journal_left_behind_keeps_no_take_off_the_disk(tmp_path: Path) -> None:
    """Twice killed: the second sitting's notes are there, long as the first one's journal is."""
    old = tmp_path / "2024-01-31_00-00-00.take"
    old.write_bytes(b"livecont take 1 x\n" + b"p 1.250417 90 3c 40\n" * 400_000)
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)], cwd=TOP, stdout=subprocess.PIPE, text=True
    ) as playing:
        assert playing.stdout is not None
        for _ in range(200):  # 0.8 s and more
            playing.stdout.readline()
        os.kill(playing.pid, signal.SIGKILL)
    left = (tmp_path / "2025-01-31_00-00-00.take").read_bytes()
    assert left.count(b"\np ") > 100
    assert old.stat().st_size > 7e6  # `check --takes` mends it
    assert [mended.trouble for mended in repair_takes(tmp_path)] == [None, None]


def test_mending_that_never_ends_keeps_nobody_waiting(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder or a file there that does not answer when it is mended."""
    release, begun = threading.Event(), threading.Event()

    def stuck(*_arguments: object, **_options: object) -> None:
        begun.set()
        release.wait(60)

    monkeypatch.setattr("livecont.live.take.repair_takes", stuck)
    monkeypatch.setattr("livecont.live.take.MENDING_S", 0.05)
    take = TakeRecorder(tmp_path, STARTED, start_s=0.0)
    assert begun.wait(20)
    take.player(KeyDown(at_s=1.0, pitch=60, velocity=70))
    journal = tmp_path / "2025-01-31_20-15-00.take"
    written = until(lambda: journal.exists() and b"90 3c 46" in journal.read_bytes(), 5.0)
    path = take.close() if written else None
    still = not release.is_set()
    release.set()
    assert still
    assert path is not None
    assert [one.played for one in list_takes(tmp_path)] == [1]


def test_a_folder_that_never_answers_does_not_keep_the_program_from_ending(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    release = threading.Event()

    class Stuck(TakeRecorder):
        def _flush(self) -> None:
            release.wait(60)
            super()._flush()

    monkeypatch.setattr("livecont.live.take.END_S", 0.1, raising=False)
    told: list[str] = []
    take = Stuck(tmp_path, STARTED, start_s=0.0, tell=told.append)
    take.player(KeyDown(at_s=1.0, pitch=60, velocity=70))
    closing = threading.Thread(target=take.close, daemon=True)
    closing.start()
    closing.join(10)
    ended = not closing.is_alive()
    release.set()
    assert ended
    assert take.path is None
    assert told == [f"the take can't be written to {tmp_path} (it does not answer)"]


@pytest.mark.skipif(sys.platform == "win32", reason="a folder in use can't be deleted there")
@pytest.mark.parametrize("elsewhere", ["there", "gone too"])
def test_a_folder_deleted_while_playing_loses_no_take(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, elsewhere: str
) -> None:
    temporary = tmp_path / "temporary"
    if elsewhere == "there":
        temporary.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    told: list[str] = []
    take = TakeRecorder(tmp_path / "takes", STARTED, start_s=0.0, tell=told.append)
    take.player(KeyDown(at_s=1.0, pitch=60, velocity=70))
    journal = tmp_path / "takes" / "2025-01-31_20-15-00.take"
    assert until(lambda: journal.exists() and b"90 3c 46" in journal.read_bytes())
    shutil.rmtree(tmp_path / "takes")
    take.player(KeyDown(at_s=2.0, pitch=64, velocity=70))
    path = take.close()
    assert told[0].startswith(f"the take can't be written to {tmp_path / 'takes'} (")
    if elsewhere == "gone too":
        assert path is None
        return
    assert path is not None
    assert path.parent.parent == temporary
    assert [one.played for one in list_takes(path.parent)] == [2]
    assert not (tmp_path / "takes").exists()
    assert len(told) == 2


def test_a_journal_taken_away_while_playing_loses_no_take(tmp_path: Path) -> None:
    take = TakeRecorder(tmp_path, STARTED, start_s=0.0)
    take.player(KeyDown(at_s=1.0, pitch=60, velocity=70))
    journal = tmp_path / "2025-01-31_20-15-00.take"
    assert until(lambda: journal.exists() and b"90 3c 46" in journal.read_bytes())
    if sys.platform == "win32":
        pytest.skip("a file in use can't be deleted there")
    journal.unlink()
    assert take.close() == journal.with_suffix(".mid")
    assert [one.played for one in list_takes(tmp_path)] == [1]
