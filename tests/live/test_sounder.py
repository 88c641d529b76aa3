"""The sounding process itself, with no MIDI system: silent, or our own sound on a null card."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from multiprocessing import Pipe
from pathlib import Path

import pytest

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.messages import TimedMessage
from livecont.live.replies import Replies
from livecont.live.report import SentMessage, SounderReport, SounderState
from livecont.live.sounder import CLOSE_PATIENCE_S, START_TRIES, Sounder
from livecont.live.spawning import Line, spawn
from livecont.live.wire import OutputChoice, OutputKind

TOP = Path(__file__).parents[2]
SILENT = OutputChoice(kind=OutputKind.SILENT)
NULL_CARD = OutputChoice(kind=OutputKind.INTERNAL, sound_system="null")
CLOCK = SystemClock()
posix = pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX's")


def on(pitch: int) -> bytes:
    return bytes((0x90, pitch, 80))


def off(pitch: int) -> bytes:
    return bytes((0x80, pitch, 64))


def note(pitch: int, in_s: float, for_s: float) -> list[TimedMessage]:
    now_s = CLOCK.now_s()
    return [
        TimedMessage(due_s=now_s + in_s, data=on(pitch)),
        TimedMessage(due_s=now_s + in_s + for_s, data=off(pitch)),
    ]


def until(happened: Callable[[], bool], patience_s: float = 10.0) -> bool:
    """Wait for something in another process; there is no clock to move by hand there."""
    ends_s = CLOCK.now_s() + patience_s
    while not happened():
        if CLOCK.now_s() > ends_s:
            return False
        CLOCK.sleep_until(CLOCK.now_s() + 0.005)
    return True


def collected(sounder: Sounder, count: int) -> list[SentMessage]:
    sent: list[SentMessage] = []

    def enough() -> bool:
        sent.extend(sounder.sent())
        return len(sent) >= count

    assert until(enough), f"only {sent}"
    return sent


@pytest.fixture(params=[SILENT, NULL_CARD], ids=["silent", "null card"])
def sounder(request: pytest.FixtureRequest) -> Iterator[Sounder]:
    if request.param is NULL_CARD:
        pytest.importorskip("miniaudio", reason="the extra 'sound' is not installed")
    started = Sounder.start(request.param)
    yield started
    started.close()


@pytest.fixture
def silent() -> Iterator[Sounder]:
    started = Sounder.start(SILENT)
    yield started
    started.close()


def test_what_is_planned_is_sent_when_due_and_told(sounder: Sounder) -> None:
    planned = note(60, 0.05, 0.05) + note(64, 0.075, 0.05)
    sounder.play(planned)
    sent = collected(sounder, 4)
    assert [one.data for one in sent] == [on(60), on(64), off(60), off(64)]
    assert [one.due_s for one in sent] == sorted(one.due_s for one in planned)
    for one in sent:
        assert one.due_s is not None
        assert one.sent_s >= one.due_s
    assert until(lambda: sounder.report().scheduled == 4)
    report = sounder.report()
    assert report.alive
    assert report.state is SounderState.RUNNING
    assert report.trouble is None
    assert 0.0 <= report.late_p50_s <= report.late_p99_s <= report.late_most_s


def test_the_players_notes_pass_at_once(sounder: Sounder) -> None:
    before_s = CLOCK.now_s()
    sounder.thru(on(72))
    (sent,) = collected(sounder, 1)
    assert sent.data == on(72)
    assert sent.due_s is None
    assert before_s < sent.sent_s < CLOCK.now_s()
    assert sounder.sounding() == {(0, 72)}


def test_keys_can_be_passed_from_another_thread(silent: Sounder) -> None:
    def press() -> None:
        for pitch in range(40, 80):
            silent.thru(on(pitch))
            silent.thru(off(pitch))

    thread = threading.Thread(target=press)
    thread.start()
    silent.play(note(100, 0.0, 0.01))
    thread.join()
    sent = [one.data for one in collected(silent, 82)]
    passed = [data for data in sent if data[1] != 100]
    assert passed == [data for pitch in range(40, 80) for data in (on(pitch), off(pitch))]


def test_hush_releases_at_once_and_forgets_the_rest(sounder: Sounder) -> None:
    sounder.play(note(60, 0.0, 30.0) + note(62, 20.0, 1.0))
    assert [one.data for one in collected(sounder, 1)] == [on(60)]
    sounder.hush()
    assert [one.data for one in collected(sounder, 1)] == [off(60)]
    assert until(lambda: sounder.report().pending == 0)


def test_closing_releases_everything_and_ends_the_process(sounder: Sounder) -> None:
    sounder.play([TimedMessage(due_s=0.0, data=b"\xb0\x40\x7f"), *note(60, 0.0, 30.0)])
    sounder.thru(on(72))
    collected(sounder, 3)
    began_s = CLOCK.now_s()
    sounder.close()
    assert CLOCK.now_s() - began_s < CLOSE_PATIENCE_S  # it ended by itself
    assert [one.data.hex(" ") for one in sounder.sent()] == [
        "80 3c 40",
        "80 48 40",
        "b0 40 00",
        "b0 7b 00",
    ]
    report = sounder.report()
    assert report.state is SounderState.ENDED
    assert report.trouble is None
    assert not sounder._line.process.is_alive()
    assert sounder._line.process.exitcode == 0
    sounder.close()
    sounder.play(note(60, 0.0, 1.0))  # too late, counted, no error
    sounder.thru(on(60))
    sounder.hush()
    assert sounder.report().not_delivered == 2
    assert sounder.report().not_passed == 1


def test_late_strikes_are_dropped_and_counted(silent: Sounder) -> None:
    silent.play(note(60, -1.0, 0.5) + note(62, -0.01, 0.0))
    assert [one.data for one in collected(silent, 3)] == [off(60), on(62), off(62)]
    assert until(lambda: silent.report().dropped_late == 1)


def test_what_is_no_message_is_refused_before_it_is_sent(silent: Sounder) -> None:
    with pytest.raises(ValueError, match="90 3c"):
        silent.play([TimedMessage(due_s=0.0, data=b"\x90\x3c")])


def test_a_dump_of_the_players_synth_is_not_passed_on(silent: Sounder) -> None:
    silent.thru(b"\xf0" + bytes(5000) + b"\xf7")
    assert silent.report().not_passed == 1


@posix
def test_a_terminate_signal_releases_everything(silent: Sounder) -> None:
    silent.play(note(60, 0.0, 30.0))
    collected(silent, 1)
    pid = silent._line.process.pid
    assert pid is not None
    os.kill(pid, signal.SIGTERM)
    assert [one.data.hex(" ") for one in collected(silent, 2)] == ["80 3c 40", "b0 7b 00"]
    assert until(lambda: not silent.report().alive)
    assert silent.report().trouble == "the sounding process died"


@posix
@pytest.mark.parametrize("name", ["SIGINT", "SIGHUP", "SIGQUIT", "SIGTSTP"])
def test_what_the_terminal_sends_is_the_main_process_affair(silent: Sounder, name: str) -> None:
    pid = silent._line.process.pid
    assert pid is not None
    os.kill(pid, getattr(signal, name))
    silent.play(note(60, 0.0, 0.0))
    assert len(collected(silent, 2)) == 2
    assert os.getpgid(pid) != os.getpgid(0)


@posix
def test_a_killed_process_is_noticed_and_what_it_left_sounding_is_released(
    silent: Sounder, monkeypatch: pytest.MonkeyPatch
) -> None:
    silent.play(note(60, 0.0, 30.0))
    collected(silent, 1)
    silent._line.process.kill()
    assert until(lambda: not silent.report().alive)
    silent.play(note(62, 0.0, 1.0))
    assert silent.report().not_delivered == 2
    with monkeypatch.context() as patch:
        patch.setattr(silent, "_choice", OutputChoice(kind=OutputKind.INTERNAL, sound_system="-"))
        with pytest.raises(PortError):
            silent.revive()  # the output is not there yet
    silent.revive()
    owed = ["80 3c 40", "b0 40 00", "b0 42 00", "b0 43 00", "b0 7b 00"]
    assert [one.data.hex(" ") for one in collected(silent, len(owed))] == owed
    assert silent.report().alive


@posix
def test_a_process_that_dies_while_it_starts_is_started_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    started: list[Line] = []

    def spawned(choice: OutputChoice, late_bound_s: float, urgent: bool) -> Line:
        line = spawn(choice, late_bound_s, urgent)
        started.append(line)
        if len(started) < START_TRIES:
            line.process.kill()
        return line

    monkeypatch.setattr("livecont.live.sounder.spawn", spawned)
    sounder = Sounder.start(SILENT)
    assert len(started) == START_TRIES
    assert sounder.report().alive
    sounder.close()


@posix
def test_a_stuck_process_delays_nobody_for_long(silent: Sounder) -> None:
    pid = silent._line.process.pid
    assert pid is not None
    os.kill(pid, signal.SIGSTOP)
    try:
        began_s = CLOCK.now_s()
        for _ in range(20_000):
            silent.thru(on(60))
        assert silent.report().not_passed > 0
        assert CLOCK.now_s() - began_s < 5.0
    finally:
        os.kill(pid, signal.SIGCONT)


def alone(code: str) -> subprocess.CompletedProcess[str]:
    """Run a program of its own that plays."""
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=TOP,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )


def test_a_program_that_just_ends_leaves_no_process() -> None:
    code = (
        "from livecont.live.sounder import Sounder\n"
        "from livecont.live.wire import OutputChoice, OutputKind\n"
        "s = Sounder.start(OutputChoice(kind=OutputKind.SILENT))\n"
        "print(s._line.process.pid)\n"
    )
    done = alone(code)
    assert done.stderr == ""
    assert until(lambda: not exists(int(done.stdout)))


@posix
def test_the_process_ends_though_somebody_else_holds_the_pipe_open() -> None:
    code = (
        "import os\n"
        "from livecont.live.sounder import Sounder\n"
        "from livecont.live.wire import OutputChoice, OutputKind\n"
        "s = Sounder.start(OutputChoice(kind=OutputKind.SILENT))\n"
        "other = os.fork()\n"  # a careless library's child, with copies of all descriptors
        "if not other:\n"
        "    os.closerange(0, 3)\n"
        "    import threading; threading.Event().wait(20); os._exit(0)\n"
        "print(s._line.process.pid, other, flush=True)\n"
        "os._exit(1)\n"
    )
    # multiprocessing's tracker keeps our pipes open as long as the other lives: read a line only
    with subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=TOP,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as program:
        assert program.stdout is not None
        pid, other = map(int, program.stdout.readline().split())
        program.wait(10)
        assert exists(other)
        assert until(lambda: not exists(pid), 5.0)
        os.kill(other, signal.SIGKILL)


def test_the_process_imports_little() -> None:
    code = (
        "import sys, livecont.live.sounding_process\n"
        "heavy = {'numpy', 'rich', 'click', 'mido', 'rtmidi', 'miniaudio', 'livecont.sequence',\n"
        "         'livecont.sitting', 'livecont.music', 'livecont.screen', 'livecont.cli'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    assert alone(code).stdout == "[]\n"


def test_the_process_does_not_import_the_program_that_starts_it(tmp_path: Path) -> None:
    program = tmp_path / "program.py"  # with no main guard: imported again it would start for ever
    program.write_text(
        "print('imported', flush=True)\n"
        "from livecont.live.sounder import Sounder\n"
        "from livecont.live.wire import OutputChoice, OutputKind\n"
        "Sounder.start(OutputChoice(kind=OutputKind.SILENT)).close()\n",
        encoding="utf-8",
    )
    done = subprocess.run(
        [sys.executable, str(program)],
        env={**os.environ, "PYTHONPATH": str(TOP)},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout == "imported\n"


def exists(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{pid}/stat")
    return not stat.exists() or stat.read_text(encoding="ascii").rsplit(")", 1)[1].split()[0] != "Z"


@pytest.mark.parametrize(
    ("choice", "says"),
    [
        (OutputChoice(kind=OutputKind.INTERNAL, sound_system="nonsense"), "no sound system 'nons"),
        (OutputChoice(kind=OutputKind.PORT, name="x", api=99), "no MIDI"),
    ],
    ids=["sound system", "MIDI system"],
)
def test_an_output_that_cannot_be_opened_is_one_clear_line(choice: OutputChoice, says: str) -> None:
    with pytest.raises(PortError, match=says) as caught:
        Sounder.start(choice)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 2


def test_replies_by_a_thread_as_on_windows_say_the_same() -> None:
    reading, writing = Pipe(duplex=False)
    replies = Replies(writing, threaded=True)
    assert replies.tell(("lost", "gone"))
    assert replies.tell(("done",))
    replies.close()
    assert [reading.recv(), reading.recv()] == [("lost", "gone"), ("done",)]
    with pytest.raises(EOFError):
        reading.recv()
    reading.close()


@posix
def test_replies_that_nobody_reads_are_refused_and_never_waited_for() -> None:
    reading, writing = Pipe(duplex=False)
    replies = Replies(writing)
    told = 0
    while replies.tell(("lost", "gone " * 50)):
        told += 1
        assert told < 100_000
    for _ in range(told):
        assert reading.recv()[0] == "lost"
    assert not reading.poll()
    replies.close()
    reading.close()


def test_a_report_is_a_value(silent: Sounder) -> None:
    report = silent.report()
    assert isinstance(report, SounderReport)
    assert report.priority in ("real-time", "raised", "normal")
    assert report.output == "silent"
