"""The world around a sitting, for the benchmarks: a JACK server, a keyboard, a synth.

Keyboard and synth live in a process of their own (`python -m tests.bench._rig NAME`), as real
instruments do, with ports `NAME stage:keys` and `NAME glass:in`. The synth reads rtmidi's queue
(reliable, within a millisecond) or, with `--callback`, is called in JACK's cycle (stamps are exact
while that process has nothing else to do, but a busy machine may lose messages).

Conventions: seconds on the live clock, which all processes share. Messages are hexadecimal on the
wire between the processes.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from livecont.live.clock import SystemClock
from tests.conftest import COMMAND, JackServer

TOP = Path(__file__).resolve().parents[2]
SERVER = "livecont-bench"
JACKS_PRIORITY = 10  # its default
CLOCK = SystemClock()

Timed = tuple[float, bytes]


# --- the server ---------------------------------------------------------------------------------


def environment(server: str = SERVER) -> dict[str, str]:
    """Return what processes need to know to find a server, and this code."""
    ours = {"JACK_DEFAULT_SERVER": server, "LIVECONT_MIDI_API": "jack", "PYTHONPATH": str(TOP)}
    return {**os.environ, **ours}


@contextmanager
def jack_server(
    name: str = SERVER, *, period: int = 64, lane: bool = False, urgent: bool = False
) -> Iterator[JackServer]:
    """Run a JACK server of our own, which this process and those that it starts use.

    `lane`: one of several; only processes that are started with its `environment` use it. `urgent`:
    at real-time priority, where that is granted, as musicians run theirs.
    """
    command: tuple[str, ...] = (*COMMAND[:-1], str(period))
    if urgent and may_be_urgent():
        command = ("--realtime", f"-P{JACKS_PRIORITY}", *command[1:])
    with tempfile.TemporaryDirectory() as folder:
        server = JackServer(name, Path(folder) / "jackd.txt", command)
        before = dict(os.environ)
        if not lane:
            os.environ.update(environment(name))
        try:
            server.start(_asking(name) if lane else None)
            yield server
        finally:
            server.stop()
            if not lane:
                os.environ.clear()
                os.environ.update(before)


def may_be_urgent() -> bool:
    """Whether this user may have real-time priority."""
    if sys.platform != "linux":
        return False
    before = os.sched_getscheduler(0), os.sched_getparam(0)
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(JACKS_PRIORITY))
    except OSError:
        return False
    os.sched_setscheduler(0, *before)
    return True


def _asking(server: str) -> Callable[[], bool]:
    """Ask by another process whether a server answers: libjack knows one server a process."""
    asking = "from livecont.live.ports import Roster; Roster('jack').close()"

    def answers() -> bool:
        asked = subprocess.run(
            [sys.executable, "-c", asking],
            env=environment(server),
            capture_output=True,
            check=False,
        )
        return asked.returncode == 0

    return answers


# --- this side ----------------------------------------------------------------------------------


class Rig:
    """A keyboard and a synth in another process."""

    def __init__(self, name: str, *, callback: bool = False, server: str = SERVER) -> None:
        self.keyboard, self.synth, self.server = f"{name} stage", f"{name} glass", server
        more = ["--callback"] if callback else []
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench._rig", name, *more],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=TOP,
            env=environment(server),
        )
        self._asking = threading.Lock()
        if self.ask("hello") != "hello":
            raise RuntimeError("the rig does not start")

    def ask(self, word: str, *rest: object) -> Any:
        """Have it do something, and wait for its answer."""
        with self._asking:
            if self._process.stdin is None or self._process.stdout is None:
                raise RuntimeError("the rig was started without pipes")
            self._process.stdin.write(json.dumps([word, *rest]) + "\n")
            self._process.stdin.flush()
            return json.loads(self._process.stdout.readline() or "null")

    def play(self, events: Sequence[Timed]) -> float:
        """Begin to play events, seconds from now; return when that is."""
        return float(self.ask("play", [(at_s, data.hex()) for at_s, data in events]))

    def played(self) -> list[Timed]:
        """What the keyboard has sent."""
        return [(at_s, bytes.fromhex(data)) for at_s, data in self.ask("played")]

    def heard(self) -> list[Timed]:
        """What the synth got."""
        return [(at_s, bytes.fromhex(data)) for at_s, data in self.ask("heard")]

    def strikes(self) -> int:
        """How often the synth was struck; quick."""
        return int(self.ask("strikes"))

    def close(self) -> None:
        """End the other process."""
        self.ask("end")
        self._process.communicate(timeout=10)


def strikes(messages: Sequence[Timed]) -> list[Timed]:
    """Return the note-ons."""
    return [(at_s, m) for at_s, m in messages if m[0] & 0xF0 == 0x90 and m[2]]


def hanging(messages: Sequence[Timed]) -> frozenset[tuple[int, int]]:
    """Return the keys left down, and pedals as (16 + channel, controller).

    All-notes-off is not taken for a release: not every instrument knows it.
    """
    down: set[tuple[int, int]] = set()
    for _, message in messages:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0x90 and message[2]:
            down.add((channel, message[1]))
        elif kind in (0x80, 0x90):
            down.discard((channel, message[1]))
        elif kind == 0xB0 and message[1] in (64, 66, 67):
            pedal = (16 + channel, message[1])
            down.add(pedal) if message[2] else down.discard(pedal)
    return frozenset(down)


def pause(for_s: float) -> None:
    """Sleep."""
    CLOCK.sleep_until(CLOCK.now_s() + for_s)


# --- the other side -----------------------------------------------------------------------------


@dataclass(slots=True)
class _Instruments:
    """The ports, and what went through them."""

    rtmidi: Any
    name: str
    callback: bool
    keys: Any = None
    synth: Any = None
    played: list[tuple[float, str]] = field(default_factory=list)
    heard: list[tuple[float, str]] = field(default_factory=list)
    strikes: int = 0
    ended: threading.Event = field(default_factory=threading.Event)
    looking: threading.Lock = field(default_factory=threading.Lock)

    def open(self, which: str) -> None:
        api = self.rtmidi.API_UNIX_JACK
        if which == "keys":
            self.keys = self.rtmidi.MidiOut(api, name=f"{self.name} stage")
            self.keys.open_virtual_port("keys")
            return
        synth = self.rtmidi.MidiIn(api, name=f"{self.name} glass", queue_size_limit=1_000_000)
        synth.ignore_types(sysex=False)
        if self.callback:
            synth.set_callback(lambda event, _: self.hear(event[0]))
        synth.open_virtual_port("in")
        self.synth = synth

    def close(self, which: str) -> None:
        with self.looking:
            port = getattr(self, which)
            setattr(self, which, None)
            if port is not None:
                port.close_port()
                port.delete()

    def hear(self, message: Sequence[int]) -> None:
        self.heard.append((CLOCK.now_s(), bytes(message).hex()))
        self.strikes += message[0] & 0xF0 == 0x90 and message[2] > 0

    def look(self) -> None:
        while not self.ended.wait(0.0005):
            with self.looking:
                while self.synth is not None and (event := self.synth.get_message()) is not None:
                    self.hear(event[0])

    def play(self, events: Sequence[tuple[float, str]], begun_s: float) -> None:
        for at_s, data in events:
            CLOCK.sleep_until(begun_s + at_s)
            keys = self.keys
            if keys is None:
                return
            self.played.append((CLOCK.now_s(), data))
            keys.send_message(bytes.fromhex(data))

    def flood(self, a_second: int, for_s: float) -> int:
        """Send strikes and releases as evenly as a thread can; return how many."""
        begun_s, sent = CLOCK.now_s(), 0
        while (now_s := CLOCK.now_s()) < begun_s + for_s:
            due = int((now_s - begun_s) * a_second)
            while sent < due:
                pitch = 21 + sent // 2 % 88
                self.keys.send_message((0x80 if sent % 2 else 0x90, pitch, 64))
                sent += 1
            CLOCK.sleep_until(now_s + 0.0005)
        return sent

    def answer(self, word: str, rest: list[Any]) -> object:
        if word == "play":
            begun_s = CLOCK.now_s()
            threading.Thread(target=self.play, args=(rest[0], begun_s), daemon=True).start()
            return begun_s
        if word in ("open", "close"):
            getattr(self, word)(rest[0])
        if word == "flood":
            return self.flood(*rest)
        if word == "forget":
            self.played, self.heard, self.strikes = [], [], 0
        answers = {"played": self.played, "heard": self.heard, "strikes": self.strikes}
        return answers.get(word, word)


def main(arguments: list[str]) -> int:
    """Be the other side, until told to end."""
    import rtmidi

    name, *more = arguments
    world = _Instruments(rtmidi=rtmidi, name=name, callback="--callback" in more)
    world.open("keys")
    world.open("synth")
    if not world.callback:
        threading.Thread(target=world.look, daemon=True).start()
    for line in sys.stdin:
        word, *rest = json.loads(line)
        print(json.dumps(world.answer(word, rest)), flush=True)
        if word == "end":
            break
    world.ended.set()
    for which in ("keys", "synth"):
        world.close(which)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
