"""The recorder of takes: what is on disk while it runs, after a kill, with a full disk."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import mido
import pytest

from livecont.live.clock import SystemClock
from livecont.live.report import SentMessage
from livecont.live.take import REST_S, TakeRecorder, tempo_of
from livecont.live.take_folder import TakeState, list_takes, repair_takes
from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.events import KeyDown, KeyUp, PedalMove
from livecont.sequence.pattern import Kind, Link, LinkNote, Pattern
from livecont.sitting.events import Ended, GaveWay, TookOver, Understood
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


def sent(at_s: float, data: str, *, planned: bool = True) -> SentMessage:
    return SentMessage(sent_s=at_s, due_s=at_s if planned else None, data=bytes.fromhex(data))


def pattern() -> Pattern:
    return Pattern(
        unit_s=2.0,
        step_degrees=-1,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=parse_key("a minor"),
        positions=(),
        pedals=(),
        starts_s=(100.0, 102.0),
        due_s=104.0,
        confidence=0.9,
        links_heard=2,
    )


def link() -> Link:
    note = LinkNote(offset_s=0.0, duration_s=0.5, spelling=spelling("A4"), velocity=60, channel=0)
    return Link(number=3, unit_s=2.0, notes=(note,), pedals=())


def play_some(take: TakeRecorder) -> None:
    take.key(100.0, parse_key("C major"))
    take.player(KeyDown(at_s=100.5, pitch=60, velocity=70))
    take.player(PedalMove(at_s=100.6, controller=64, value=127))
    take.player(KeyUp(at_s=101.0, pitch=60))
    take.news(Understood(at_s=103.0, pattern=pattern()))
    take.news(TookOver(at_s=103.9, start_s=104.0, pattern=pattern(), link=link()))
    take.sounded([sent(104.0, "904540"), sent(104.5, "804540")])
    take.news(GaveWay(at_s=105.0))
    take.news(Ended(at_s=106.0, reason="quit"))


def test_a_sitting_becomes_a_file_with_all_that_happened(tmp_path: Path) -> None:
    take = TakeRecorder(tmp_path / "new" / "takes", STARTED, start_s=100.0)
    play_some(take)
    path = take.close()
    assert path == tmp_path / "new" / "takes" / "2025-01-31_20-15-00.mid"
    assert sorted(path.parent.iterdir()) == [path]  # the journal is gone
    midi = mido.MidiFile(path)
    first = [str(message) for message in midi.tracks[0]]
    for part in ("note=60 velocity=70", "control=64 value=127", "tempo=500000", "key='C'"):
        assert any(part in line for line in first), part
    assert any("key='Am'" in line for line in first)
    markers = [message.text for message in midi.tracks[0] if message.type == "marker"]
    assert markers == [
        "understood: step -1, unit 2.000 s",
        "take-over: link 3",
        "give-way",
        "end: quit",
    ]
    strikes = [message.note for message in midi.tracks[1] if message.type == "note_on"]
    assert strikes == [0x45]
    assert midi.length == pytest.approx(6.0, abs=0.001)


def test_times_count_from_the_start_and_nothing_is_before_it(tmp_path: Path) -> None:
    take = TakeRecorder(tmp_path, STARTED, start_s=100.0)
    take.player(KeyDown(at_s=99.9, pitch=60, velocity=70))
    take.player(KeyUp(at_s=101.25, pitch=60))
    path = take.close()
    assert path is not None
    assert mido.MidiFile(path).length == pytest.approx(1.25, abs=0.001)


def test_the_players_own_that_passed_through_is_not_taken_for_livecont(tmp_path: Path) -> None:
    take = TakeRecorder(tmp_path, STARTED, start_s=0.0)
    take.sounded(
        [
            sent(1.0, "903c40", planned=False),  # passed through
            sent(1.1, "904040"),
            sent(1.2, "803c40", planned=False),  # passed through
            sent(1.3, "806440", planned=False),  # a probe
            sent(1.4, "b0407f"),
            sent(1.5, "804040", planned=False),  # released by a hush
            sent(1.6, "b04000", planned=False),  # lifted by a hush
            sent(1.7, "804040"),  # long released
            sent(1.8, "c005"),
        ]
    )
    path = take.close()
    assert path is not None
    sounded = [m.bytes() for m in mido.MidiFile(path).tracks[1] if not m.is_meta]
    wanted = ["904040", "b0407f", "804040", "b04000"]
    assert sounded == [list(bytes.fromhex(one)) for one in wanted]


def test_a_sitting_without_a_note_leaves_nothing(tmp_path: Path) -> None:
    take = TakeRecorder(tmp_path, STARTED, start_s=0.0)
    take.key(0.0, parse_key("C major"))
    assert take.close() is None
    assert list(tmp_path.iterdir()) == []


def test_nothing_that_is_there_is_written_over(tmp_path: Path) -> None:
    taken = tmp_path / "2025-01-31_20-15-00.mid"
    taken.write_bytes(b"somebody's")
    paths = []
    takes = [TakeRecorder(tmp_path, STARTED, start_s=0.0) for _ in range(3)]
    for take in takes:
        take.player(KeyDown(at_s=1.0, pitch=60, velocity=70))
    for take in takes:
        paths.append(take.close())
    assert taken.read_bytes() == b"somebody's"
    names = {path.name for path in paths if path is not None}
    assert names == {f"2025-01-31_20-15-00_{number}.mid" for number in (2, 3, 4)}


def test_a_take_in_use_is_listed_and_left_alone(tmp_path: Path) -> None:
    take = TakeRecorder(tmp_path, STARTED, start_s=0.0)
    take.player(KeyDown(at_s=1.0, pitch=60, velocity=70))
    journal = tmp_path / "2025-01-31_20-15-00.take"
    assert until(lambda: journal.exists() and b"90 3c 46" in journal.read_bytes())
    assert [one.state for one in list_takes(tmp_path)] == [TakeState.IN_USE]
    assert repair_takes(tmp_path) == ()
    assert take.close() is not None
    (whole,) = list_takes(tmp_path)
    assert (whole.state, whole.played, whole.sounded) == (TakeState.WHOLE, 1, 0)


def test_the_file_is_written_when_the_hands_rest(tmp_path: Path) -> None:
    take = TakeRecorder(tmp_path, STARTED, start_s=0.0)
    take.player(KeyDown(at_s=1.0, pitch=60, velocity=70))
    path = take.wait_named(10)
    assert path is not None
    assert until(lambda: path.stat().st_size > 0, REST_S + 10)
    notes = [m.note for m in mido.MidiFile(path).tracks[0] if m.type == "note_on"]
    take.close()
    assert notes == [60]


def test_a_folder_that_can_not_be_is_told_once_and_the_take_goes_elsewhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = tmp_path / "temporary"
    elsewhere.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(elsewhere))
    in_the_way = tmp_path / "file"
    in_the_way.write_bytes(b"")
    told: list[str] = []
    take = TakeRecorder(in_the_way / "takes", STARTED, start_s=0.0, tell=told.append)
    play_some(take)
    assert until(lambda: bool(told))
    play_some(take)
    rescued = take.close()
    assert "playing goes on" in told[0]
    assert told[1:] == [
        "the take is whole among the temporary files: move it to where it is to stay"
    ]
    assert rescued is not None
    assert list(elsewhere.iterdir()) == [rescued.parent]
    (found,) = list_takes(rescued.parent)
    assert found.state is TakeState.WHOLE
    once = TakeRecorder(tmp_path / "takes", STARTED, start_s=0.0)
    play_some(once)
    once.close()
    (usual,) = list_takes(tmp_path / "takes")
    assert found.played == 2 * usual.played > 0


def test_a_folder_that_can_not_be_for_a_sitting_without_a_note_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    (tmp_path / "file").write_bytes(b"")
    take = TakeRecorder(tmp_path / "file" / "takes", STARTED, start_s=0.0)
    assert take.close() is None
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


FULL_DISK = """
import resource, sys
from datetime import datetime
from pathlib import Path
from livecont.live.take import TakeRecorder
from livecont.live.clock import SystemClock
from livecont.sequence.events import KeyDown
if __name__ == "__main__":
    clock, told = SystemClock(), []
    _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, most))
    take = TakeRecorder(Path(sys.argv[1]), datetime(2025, 1, 31), start_s=0.0, tell=told.append)
    for k in range(500):
        take.player(KeyDown(at_s=0.1 * k, pitch=k % 128, velocity=70))
    while not told:
        clock.sleep_until(clock.now_s() + 0.01)
    take.player(KeyDown(at_s=60.0, pitch=1, velocity=2))
    clock.sleep_until(clock.now_s() + 0.3)
    if sys.argv[2] == "freed":
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
    take.close()
    print(len(told), take.lost)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on file sizes")
@pytest.mark.parametrize("later", ["freed", "full"])
def test_a_full_disk_is_told_once_and_nothing_is_lost_when_there_is_room_again(
    tmp_path: Path, later: str
) -> None:
    """A limit on file sizes makes writes fail in the middle of a line, as a full disk does."""
    elsewhere = tmp_path / "temporary"
    elsewhere.mkdir()
    ran = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(tmp_path), later],
        cwd=TOP,
        capture_output=True,
        timeout=60,
        check=True,
        env={**os.environ, "TMPDIR": str(elsewhere)},
    )
    assert ran.stdout.split() == [b"1", b"0"]
    assert list(elsewhere.iterdir()) == []  # as full, or not needed
    if later == "freed":
        (take,) = list_takes(tmp_path)
        assert (take.state, take.played) == (TakeState.WHOLE, 501)
        return
    (take,) = list_takes(tmp_path)
    assert take.state is TakeState.UNFINISHED  # the journal as far as it went
    assert take.played > 20
    (mended,) = repair_takes(tmp_path)
    assert mended.trouble is None


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
@pytest.mark.parametrize("after", [1, 37, 211])
def test_a_kill_loses_next_to_nothing(tmp_path: Path, after: int) -> None:
    playing = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)], cwd=TOP, stdout=subprocess.PIPE, text=True
    )
    assert playing.stdout is not None
    lines = [playing.stdout.readline() for _ in range(after)]
    os.kill(playing.pid, signal.SIGKILL)
    lines += playing.stdout.readlines()
    playing.stdout.close()
    playing.wait(10)
    played_s = [float(line.split()[1]) for line in lines if line.endswith("\n")]
    (left,) = list_takes(tmp_path)
    assert left.state is TakeState.UNFINISHED
    (mended,) = repair_takes(tmp_path)
    # a tenth of a second at most, as the fault drill measures; a busy machine may be slower here
    recent = [at_s for at_s in played_s if at_s <= played_s[-1] - 0.4]
    if mended.take is None:  # killed before so long had passed
        assert recent == []
        return
    midi = mido.MidiFile(mended.take)
    strikes = [m for m in midi.tracks[0] if m.type == "note_on" and m.velocity]
    releases = [m for m in midi.tracks[0] if m.type == "note_off"]
    assert len(recent) <= len(strikes) <= len(played_s) + 1
    assert [m.note for m in strikes] == [k % 128 for k in range(len(strikes))]
    assert len(releases) == len(strikes)
    assert not list(tmp_path.glob("*.take"))


def test_the_next_sitting_mends_what_was_left(tmp_path: Path) -> None:
    left = tmp_path / "2025-01-30_09-00-00.take"
    left.write_bytes(b"livecont take 1 2025-01-30T09:00:00\np 0.5 90 3c 40\np 0.9 80 3c 40\np 1.")
    take = TakeRecorder(tmp_path, STARTED, start_s=0.0)
    mended = left.with_suffix(".mid")
    assert until(lambda: mended.exists() and not left.exists())
    take.close()
    assert [one.played for one in list_takes(tmp_path)] == [1]


def test_recording_never_waits(tmp_path: Path) -> None:
    """A disk that hangs: the writing thread waits, nobody else does."""
    release = threading.Event()

    class Stuck(TakeRecorder):
        def _flush(self) -> None:
            release.wait(30)
            super()._flush()

    take = Stuck(tmp_path, STARTED, start_s=0.0)
    for k in range(1000):
        take.player(KeyDown(at_s=0.01 * k, pitch=k % 128, velocity=70))
    release.set()
    assert take.close() is not None
    assert list_takes(tmp_path)[0].played == 1000


@pytest.mark.parametrize("unit_s", [0.3, 0.5, 0.9, 1.7, 2.0, 3.1, 8.0, 25.0])
def test_tempi_are_playable_and_a_link_has_whole_quarters(unit_s: float) -> None:
    tempo_us = tempo_of(unit_s)
    assert 60 <= 60e6 / tempo_us <= 200
    beats = unit_s * 1e6 / tempo_us
    assert beats == pytest.approx(round(beats), abs=1e-4)
