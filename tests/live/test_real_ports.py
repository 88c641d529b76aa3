"""A whole sitting through real MIDI ports (JACK): another process plays, and hears what sounds."""

from __future__ import annotations

import json
import os
import signal
import statistics
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from livecont.live.clock import SystemClock
from livecont.live.port_names import choose_output
from livecont.live.ports import list_ports, output_to_open
from livecont.live.runner import Runner
from livecont.live.sounder import Sounder
from livecont.live.take_folder import TakeState, list_takes, repair_takes
from livecont.music.compass import Compass
from livecont.music.key import parse_key
from livecont.sitting import machine
from livecont.sitting.events import Ended, GaveWay, News, Settings, TookOver

TOP = Path(__file__).resolve().parents[2]
PATIENCE_S = 20.0
CONTROLS = SimpleNamespace(pedals={66: "stop"}, keys={}, computer={})
COMPASS = Compass(
    name="modern", title="modern", lowest=21, highest=108, absent=frozenset(), source=""
)
SETTINGS = Settings(key=parse_key("C major"), compass=COMPASS, most_links=2)

# The other process: a keyboard, and a synth that writes down what it gets. Commands come as JSON
# lines: ["play", [[s, bytes], ...]] at those times from now, ["loop", bool]: what the synth gets
# goes out at the keyboard too, ["report"], ["end"].
RIG = """
import json, sys, threading, time, rtmidi
now = lambda: time.clock_gettime(time.CLOCK_BOOTTIME)
got, loop = [], False
keys = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="Stage 61")
keys.open_virtual_port("keys")
synth = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="Glass Synth")

def hear(event, _):
    got.append((now(), bytes(event[0]).hex()))
    if loop:
        keys.send_message(event[0])

synth.set_callback(hear)
synth.open_virtual_port("in")

def play(events):
    begun, sent = now(), []
    for at, data in events:
        time.sleep(max(0, begun + at - now()))
        sent.append((now(), data))
        keys.send_message(bytes.fromhex(data))
    return sent

print("ready", flush=True)
for line in sys.stdin:
    word, *rest = json.loads(line)
    if word == "play":
        print(json.dumps(play(*rest)), flush=True)
    elif word == "loop":
        loop = rest[0]
        print(json.dumps(None), flush=True)
    elif word == "report":
        print(json.dumps(got), flush=True)
    else:
        break
for port in (keys, synth):
    port.close_port()
    port.delete()
"""


class Rig:
    """The other process."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", RIG],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == "ready\n"

    def ask(self, *command: object) -> Any:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps(command) + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())

    def strikes(self) -> list[tuple[float, int]]:
        """What the synth was struck with: when, which key."""
        got = [(at_s, bytes.fromhex(data)) for at_s, data in self.ask("report")]
        return [(at_s, m[1]) for at_s, m in got if m[0] & 0xF0 == 0x90 and m[2]]

    def hanging(self) -> set[tuple[int, int]]:
        """What goes on sounding at the synth."""
        down: set[tuple[int, int]] = set()
        for _, data in self.ask("report"):
            message = bytes.fromhex(data)
            key = (message[0] & 0x0F, message[1])
            if message[0] & 0xF0 == 0x90 and message[2]:
                down.add(key)
            elif message[0] & 0xF0 in (0x80, 0x90):
                down.discard(key)
        return down

    def close(self) -> None:
        if self.process.stdin is not None and self.process.stdout is not None:
            self.process.stdin.write('["end"]\n')
            self.process.stdin.close()
            self.process.stdout.close()
        self.process.wait(PATIENCE_S)


@pytest.fixture
def rig(jack: str) -> Iterator[Rig]:
    made = Rig()
    yield made
    made.close()


FIRST = (72, 76, 74, 77, 76, 74)
SECOND = (71, 74, 72, 76, 74, 72)
THIRD = (69, 72, 71, 74, 72, 71)  # a step lower still in C major, by hand
FOURTH = (67, 71, 69, 72, 71, 69)
NOTE_S = 0.12
UNIT_S = NOTE_S * len(FIRST)


def written(pitches: tuple[int, ...], begin_s: float = 0.0) -> list[tuple[float, str]]:
    """Evenly played, 4/5 of each note's time held."""
    events = []
    for k, pitch in enumerate(pitches):
        at_s = begin_s + k * NOTE_S
        events.append((at_s, f"90{pitch:02x}46"))
        events.append((at_s + 0.8 * NOTE_S, f"80{pitch:02x}40"))
    return events


def until(true: Callable[[], bool]) -> bool:
    clock = SystemClock()
    ends_s = clock.now_s() + PATIENCE_S
    while not true() and clock.now_s() < ends_s:
        clock.sleep_until(clock.now_s() + 0.01)
    return true()


def sitting(news: list[News], **more: Any) -> Runner[Any]:
    """A sitting between the rig's ports, not yet begun."""
    ports = list_ports()
    out = choose_output(ports.outputs, "glass", "Stage 61:keys")
    sounder = Sounder.start(output_to_open(out, ports))
    more.setdefault("thru", False)
    runner = Runner(
        machine,
        more.pop("settings", SETTINGS),
        clock=SystemClock(),
        sounder=sounder,
        controls=CONTROLS,
        listeners=[news.append],
        **more,
    )
    assert runner.listen() == ("Stage 61:keys",)
    return runner


def test_two_links_are_continued_on_time_through_real_ports(rig: Rig) -> None:
    news: list[News] = []
    with sitting(news, ends_with_chain=True) as runner:
        played = rig.ask("play", written(FIRST + SECOND))
        assert runner.wait(PATIENCE_S)
    struck = rig.strikes()
    assert [pitch for _, pitch in struck] == [*THIRD, *FOURTH]
    second = [at_s for at_s, data in played if data.startswith("90")][len(FIRST) :]
    due_s = [at_s + UNIT_S * k for k in (1, 2) for at_s in second]
    late_s = [at_s - due for (at_s, _), due in zip(struck, due_s, strict=True)]
    assert abs(statistics.median(late_s)) < 0.015, late_s  # benchmarks say how near it really is
    assert max(map(abs, late_s)) < 0.06, late_s
    assert rig.hanging() == set()
    assert isinstance(news[-1], Ended)


def test_the_player_passes_through(rig: Rig) -> None:
    with sitting([], thru=True):
        rig.ask("play", written(FIRST[:2]))
        assert until(lambda: len(rig.strikes()) == 2)
    assert [pitch for _, pitch in rig.strikes()] == [72, 76]
    assert rig.hanging() == set()


@pytest.mark.parametrize("thru", [False, True])
def test_a_loop_back_into_the_keyboard_is_not_taken_for_the_player(rig: Rig, thru: bool) -> None:
    """A keyboard that echoes, or two programs in a loop: all that sounds comes back as played."""
    news: list[News] = []
    rig.ask("loop", True)
    with sitting(news, ends_with_chain=True, thru=thru) as runner:
        assert until(lambda: bool(runner.health().inputs))
        rig.ask("play", written(FIRST + SECOND))
        assert runner.wait(PATIENCE_S)
    struck = [pitch for _, pitch in rig.strikes()]
    assert struck == [*(FIRST + SECOND if thru else ()), *THIRD, *FOURTH]
    assert not any(isinstance(one, GaveWay) for one in news)
    assert runner.health().echoing == ("Stage 61:keys",)
    assert rig.hanging() == set()


def test_without_a_loop_the_player_who_plays_the_due_notes_is_heard(rig: Rig) -> None:
    news: list[News] = []
    with sitting(news) as runner:
        # a little late: what he plays before the due moment only calls the link off
        late = written(THIRD, begin_s=2 * UNIT_S + 0.08)
        rig.ask("play", written(FIRST + SECOND) + late)
        assert until(lambda: any(isinstance(one, GaveWay) for one in news))
        assert runner.health().echoing == ()
    assert any(isinstance(one, TookOver) for one in news)
    assert rig.hanging() == set()


SITTING = """
import signal, sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path
sys.path.insert(0, "tests/live")
import test_real_ports as here
from livecont.live.clock import SystemClock
from livecont.live.take import TakeRecorder

if __name__ == "__main__":
    take = TakeRecorder(
        Path(sys.argv[1]), datetime(2025, 1, 31), start_s=SystemClock().now_s(), repair=False
    )
    runner = here.sitting([], take=take, settings=replace(here.SETTINGS, most_links=None))
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        signal.signal(getattr(signal, name), lambda *_: runner.quit())
    with runner:
        print("ready", flush=True)
        while not runner.wait(0.02):
            now = runner.latest
            if len(sys.argv) > 2 and now.sounding_start_s and now.at_s > now.sounding_start_s + 0.5:
                raise SystemExit(sys.argv[2])
"""


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM", "SIGHUP", "SIGKILL", "exception"])
def test_however_it_ends_nothing_hangs_and_the_take_is_kept(
    rig: Rig, tmp_path: Path, how: str
) -> None:
    more = ["a fault"] if how == "exception" else []
    mark = f"LIVECONT_MARK={tmp_path}"
    process = subprocess.Popen(
        [sys.executable, "-c", SITTING, str(tmp_path), *more],
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": str(TOP), "LIVECONT_MARK": str(tmp_path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    rig.ask("play", written(FIRST + SECOND))
    assert until(lambda: len(rig.strikes()) >= 3)
    if how != "exception":
        assert len(orphans(mark)) >= 2  # the sounding process among them
        process.send_signal(getattr(signal, how))
    _, error = process.communicate(timeout=PATIENCE_S)
    expected = {"SIGKILL": -signal.SIGKILL, "exception": 1}.get(how, 0)
    assert process.returncode == expected, error
    assert until(lambda: rig.hanging() == set())
    count = len(rig.strikes())
    if how == "SIGKILL":
        assert [take.state for take in list_takes(tmp_path)] == [TakeState.UNFINISHED]
        repair_takes(tmp_path)
    (take,) = list_takes(tmp_path)
    assert take.state is TakeState.WHOLE
    assert take.played == len(FIRST + SECOND)
    assert count - 2 <= take.sounded <= count  # a kill may lose the last 100 ms
    assert until(lambda: orphans(mark) == [])


def orphans(mark: str) -> list[str]:
    """Processes that a sitting left behind, by a mark in the environment that they inherit."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            environment = (folder / "environ").read_bytes()
            state = (folder / "stat").read_text().rsplit(")", 1)[1].split()[0]
            command = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:  # gone meanwhile
            continue
        if mark.encode() in environment and state != "Z":
            found.append(command)
    return found
