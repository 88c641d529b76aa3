"""The sounding process on real MIDI ports (JACK): whatever ends it, no note is left hanging.

A JACK server of our own on a dummy card gives real ports anywhere; it runs synchronously (-S),
since otherwise a client that is late for its cycle loses what it sent in it. Without jackd these
tests skip; in CI they must run.
"""

from __future__ import annotations

import contextlib
import os
import random  # noqa: TID251 -- seeded moments for the kills
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.messages import TimedMessage
from livecont.live.report import SounderState
from livecont.live.sounder import Sounder
from livecont.live.wire import OutputChoice, OutputKind

TOP = Path(__file__).parents[2]
SERVER = f"livecont-sounder-{os.getpid()}"
PERIOD_S = 64 / 48_000
CLOCK = SystemClock()
IN_CI = os.environ.get("CI") == "true"

JACKD = shutil.which("jackd") or "jackd"

if shutil.which(JACKD) is None and not IN_CI:
    pytest.skip("jackd is not installed (apt-get install jackd2)", allow_module_level=True)

rtmidi = pytest.importorskip("rtmidi", reason="python-rtmidi can't be loaded")
if rtmidi.API_UNIX_JACK not in rtmidi.get_compiled_api() and not IN_CI:
    pytest.skip("python-rtmidi was built without JACK", allow_module_level=True)


def on(pitch: int) -> bytes:
    return bytes((0x90, pitch, 80))


def off(pitch: int) -> bytes:
    return bytes((0x80, pitch, 64))


def until(happened: Callable[[], bool], patience_s: float = 10.0) -> bool:
    ends_s = CLOCK.now_s() + patience_s
    while not happened():
        if CLOCK.now_s() > ends_s:
            return False
        CLOCK.sleep_until(CLOCK.now_s() + 0.005)
    return True


@pytest.fixture(scope="module", autouse=True)
def server(jack_server: Any) -> Any:
    """The tests' one JACK server (conftest): libjack knows one server a process."""
    return jack_server


class Listener:
    """The other side of the port: what an instrument would do with what it gets.

    It reads rtmidi's queue instead of giving it a callback: a callback of ours runs in JACK's cycle
    and, when the interpreter is busy for longer than that, rtmidi reads on in a buffer that is
    being written for the next cycle, and loses, repeats or swaps messages.
    """

    def __init__(self, name: str, source: str | None = None) -> None:
        self.got: list[tuple[float, bytes]] = []
        self._in: Any = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name=name, queue_size_limit=100_000)
        self._in.ignore_types(sysex=False)
        if source is None:
            self._in.open_virtual_port("in")
        else:
            self._in.open_port(self._in.get_ports().index(source), "in")
        self.port = f"{name}:in"
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while not self._ended.wait(0.001):
            while (event := self._in.get_message()) is not None:
                self.got.append((CLOCK.now_s(), bytes(event[0])))

    @property
    def messages(self) -> list[bytes]:
        return [message for _, message in self.got]

    def hanging(self) -> set[tuple[int, int]]:
        """The keys left down; all-notes-off is not taken for a release."""
        down: set[tuple[int, int]] = set()
        for message in self.messages:
            key = (message[0] & 0x0F, message[1])
            if message[0] & 0xF0 == 0x90 and message[2]:
                down.add(key)
            elif message[0] & 0xE0 == 0x80:
                down.discard(key)
        return down

    def pedals_down(self) -> set[tuple[int, int]]:
        value = {
            (message[0] & 0x0F, message[1]): message[2]
            for message in self.messages
            if message[0] & 0xF0 == 0xB0 and message[1] in (64, 66, 67)
        }
        return {key for key, now in value.items() if now}

    def close(self) -> None:
        if self._ended.is_set():
            return  # closing twice would end this process
        self._ended.set()
        self._thread.join()
        self._in.close_port()
        self._in.delete()


@pytest.fixture
def listener(request: pytest.FixtureRequest) -> Iterator[Listener]:
    heard = Listener(f"instrument {abs(hash(request.node.name)) % 100_000}")
    yield heard
    heard.close()


def output(listener: Listener) -> OutputChoice:
    return OutputChoice(
        kind=OutputKind.PORT, name=listener.port, api=rtmidi.API_UNIX_JACK, client="livecont-test"
    )


@pytest.fixture
def sounder(listener: Listener) -> Iterator[Sounder]:
    started = Sounder.start(output(listener))
    yield started
    started.close()


def test_a_listener_gets_what_is_planned_when_it_is_due(
    sounder: Sounder, listener: Listener
) -> None:
    start_s = CLOCK.now_s() + 0.1
    due = [TimedMessage(due_s=start_s + i * 0.02, data=on(50 + i)) for i in range(20)]
    due += [TimedMessage(due_s=one.due_s + 0.015, data=off(one.data[1])) for one in due]
    sounder.play(due)
    assert until(lambda: len(listener.got) == 40)
    due.sort(key=lambda one: one.due_s)
    assert listener.messages == [one.data for one in due]
    late = sorted(at_s - one.due_s for (at_s, _), one in zip(listener.got, due, strict=True))
    # rtmidi sends at the next period, and the reader's thread needs its turn: figures are the
    # benchmark's affair, here it only must not be early, nor as late as a play loop
    assert late[0] > 0.0
    assert late[len(late) // 2] < 2 * PERIOD_S + 0.010


def test_the_players_keys_pass(sounder: Sounder, listener: Listener) -> None:
    sounder.thru(on(60))
    sounder.thru(b"\xf0\x7d\x01\x02\xf7")  # MIDI 1.0: 7D is the id for non-commercial use
    sounder.thru(off(60))
    assert until(lambda: len(listener.got) == 3)
    assert listener.messages == [on(60), b"\xf0\x7d\x01\x02\xf7", off(60)]


def test_hush_silences_at_once(sounder: Sounder, listener: Listener) -> None:
    now_s = CLOCK.now_s()
    sounder.play([TimedMessage(due_s=now_s, data=on(pitch)) for pitch in (60, 64, 67)])
    sounder.play([TimedMessage(due_s=now_s + 9, data=off(pitch)) for pitch in (60, 64, 67)])
    assert until(lambda: len(listener.hanging()) == 3)
    sounder.hush()
    assert until(lambda: not listener.hanging())
    assert CLOCK.now_s() - now_s < 5.0


def test_closing_releases_notes_pedals_and_channels(sounder: Sounder, listener: Listener) -> None:
    sounder.play([TimedMessage(due_s=0.0, data=data) for data in (b"\xb2\x40\x7f",)])
    sounder.play([TimedMessage(due_s=CLOCK.now_s(), data=b"\x92\x3c\x50")])
    assert until(lambda: len(listener.got) == 2)
    sounder.close()
    assert until(lambda: len(listener.got) == 10)  # and a sweep, for JACK may lose messages
    assert [message.hex(" ") for message in listener.messages[2:5]] == [
        "82 3c 40",
        "b2 40 00",
        "b2 7b 00",
    ]


PLAYER = """
import sys, threading
from livecont.live.clock import SystemClock
from livecont.live.messages import TimedMessage as T
from livecont.live.sounder import Sounder
from livecont.live.wire import OutputChoice, OutputKind
s = Sounder.start(OutputChoice(kind=OutputKind.PORT, name=sys.argv[1], api=int(sys.argv[2]),
                               client="livecont-test"))
now = SystemClock().now_s()
s.play([T(due_s=now, data=bytes((0xB0, 64, 127)))])
for i in range(400):
    at = now + i * 0.01
    s.play([T(due_s=at, data=bytes((0x90 | i % 3, 40 + i % 50, 80))),
            T(due_s=at + 0.35, data=bytes((0x80 | i % 3, 40 + i % 50, 64)))])
s.thru(bytes((0x95, 100, 80)))
print(s._line.process.pid, flush=True)
if sys.argv[3] == "raise":
    SystemClock().sleep_until(SystemClock().now_s() + float(sys.argv[4]))
    raise RuntimeError("a fault of ours")
threading.Event().wait()
"""


def exists(pid: int) -> bool:
    with contextlib.suppress(FileNotFoundError, ProcessLookupError):
        stat = Path(f"/proc/{pid}/stat").read_text(encoding="ascii")
        return stat.rsplit(")", 1)[1].split()[0] != "Z"
    return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="/proc tells who is alive")
@pytest.mark.parametrize("way", ["SIGKILL", "SIGTERM", "SIGINT", "SIGKILL to its group", "raise"])
def test_however_the_main_process_ends_nothing_hangs(listener: Listener, way: str) -> None:
    moment_s = random.Random(way).uniform(0.3, 1.2)
    main = subprocess.Popen(
        [sys.executable, "-c", PLAYER, listener.port, str(rtmidi.API_UNIX_JACK), way, "0.5"],
        cwd=TOP,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        text=True,
    )
    with main:
        assert main.stdout is not None
        sounding = int(main.stdout.readline())
        CLOCK.sleep_until(CLOCK.now_s() + moment_s)
        if way.startswith("SIGKILL to"):
            os.killpg(main.pid, signal.SIGKILL)
        elif way != "raise":
            assert listener.hanging()
            main.send_signal(getattr(signal, way))
        main.wait(10)
        assert until(lambda: not exists(sounding), 5.0), "an orphan is left"
    CLOCK.sleep_until(CLOCK.now_s() + 0.02)  # one more period for the last messages
    assert any(message[0] & 0xF0 == 0x90 for message in listener.messages)
    assert listener.hanging() == set()
    assert listener.pedals_down() == set()
    all_off = {message[0] & 0x0F for message in listener.messages if message[1:2] == b"\x7b"}
    assert all_off == {0, 1, 2, 5}


def test_a_port_that_is_not_there_is_one_clear_line(listener: Listener) -> None:
    choice = OutputChoice(kind=OutputKind.PORT, name="no such:port", api=rtmidi.API_UNIX_JACK)
    with pytest.raises(PortError, match=r"no MIDI output 'no such:port'; there is: .*instrument"):
        Sounder.start(choice)


def test_a_port_that_vanishes_is_noticed_and_found_again(listener: Listener) -> None:
    synth = Listener("synth")
    sounder = Sounder.start(output(synth))
    try:
        sounder.play([TimedMessage(due_s=CLOCK.now_s(), data=on(60))])
        assert until(lambda: synth.messages == [on(60)])
        synth.close()
        assert until(lambda: sounder.report().state is SounderState.LOST)
        assert "'synth:in' is gone" in str(sounder.report().trouble)
        sounder.play([TimedMessage(due_s=CLOCK.now_s(), data=on(62))])
        synth = Listener("synth")
        assert until(lambda: sounder.report().state is SounderState.RUNNING)
        # what sounded when it went away, and in case it was later than we noticed, the rest
        silence = [off(60), b"\xb0\x40\x00", b"\xb0\x42\x00", b"\xb0\x43\x00", b"\xb0\x7b\x00"]
        assert until(lambda: len(synth.got) == len(silence))
        assert synth.messages == silence
        sounder.thru(on(64))
        assert until(lambda: synth.messages[-1] == on(64))
        assert sounder.report().dropped_lost == 1
    finally:
        sounder.close()
        synth.close()


def test_a_virtual_port_is_there_for_others() -> None:
    choice = OutputChoice(
        kind=OutputKind.VIRTUAL, name="our voice", api=rtmidi.API_UNIX_JACK, client="livecont-own"
    )
    sounder = Sounder.start(choice)
    reader = Listener("reader", "livecont-own:our voice")
    try:
        sounder.thru(on(60))
        assert until(lambda: reader.messages == [on(60)])
    finally:
        sounder.close()
        until(lambda: len(reader.got) == 8)
        reader.close()
    assert reader.messages[1:3] == [off(60), b"\xb0\x7b\x00"]


@pytest.mark.parametrize("flood", [False, True], ids=["quiet", "flooded"])
def test_a_server_that_dies_is_noticed_and_found_again(server: Any, flood: bool) -> None:
    """Its clients go on listing its ports, and a send ends up stuck after some 2,000 messages."""
    choice = OutputChoice(
        kind=OutputKind.VIRTUAL, name="voice", api=rtmidi.API_UNIX_JACK, client="livecont-orphan"
    )
    sounder = Sounder.start(choice)
    ended = threading.Event()

    def play_on() -> None:
        pitch = 0
        while not ended.wait(0.0002):
            pitch = (pitch + 1) % 128
            sounder.thru(on(pitch))

    player = threading.Thread(target=play_on)
    try:
        sounder.thru(on(60))
        if flood:
            player.start()
            CLOCK.sleep_until(CLOCK.now_s() + 0.2)
        server.kill()
        assert until(lambda: sounder.report().state is SounderState.LOST, 5.0)
        CLOCK.sleep_until(CLOCK.now_s() + 1.0)
        assert sounder.report().alive
        server.start()
        assert until(lambda: sounder.report().state is SounderState.RUNNING, 5.0)
        ended.set()
        sounder.thru(on(62))
        assert until(lambda: any(one.data == on(62) for one in sounder.sent()))
    finally:
        ended.set()
        if flood:
            player.join()
        sounder.close()
    assert sounder._line.process.exitcode == 0
