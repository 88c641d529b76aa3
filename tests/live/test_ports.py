"""Real MIDI ports through a JACK server: listing, listening, losing and finding again."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from livecont.errors import ConfigError, PortError
from livecont.live.clock import SystemClock
from livecont.live.hearing import Arrival, Inbox
from livecont.live.inputs import Inputs, PortEvent, PortNews
from livecont.live.port_names import is_ours
from livecont.live.ports import Roster, list_ports

TOP = Path(__file__).resolve().parents[2]
PATIENCE_S = 15.0

# a keyboard in a process of its own: `note`s on standard input are played, `end` closes in order
KEYBOARD = """
import sys, rtmidi
out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=sys.argv[1])
out.open_virtual_port("keys")
print("ready", flush=True)
for line in sys.stdin:
    if line.strip() == "end":
        break
    out.send_message(bytes.fromhex(line))
    print("sent", flush=True)
out.close_port()
out.delete()
"""


class Keyboard:
    """A second process with a MIDI port of its own."""

    def __init__(self, name: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", KEYBOARD, name],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self.answer()

    def play(self, message: str) -> None:
        self.tell(message)
        self.answer()

    def tell(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def answer(self) -> None:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line in ("ready\n", "sent\n"), (line, self.process.poll())

    def unplug(self) -> None:
        if self.process.poll() is None:
            self.tell("end")
            self.process.wait(PATIENCE_S)
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                pipe.close()


@pytest.fixture
def plug(jack: str) -> Iterator[Callable[[str], Keyboard]]:
    plugged: list[Keyboard] = []

    def plug_in(name: str) -> Keyboard:
        plugged.append(Keyboard(name))
        return plugged[-1]

    yield plug_in
    for keyboard in plugged:
        keyboard.unplug()


class Ears:
    """Inputs and all that comes of them."""

    def __init__(self, **more: str) -> None:
        self.inbox: Inbox[PortNews] = Inbox()
        self.news: list[PortNews] = []
        self.inputs = Inputs(self.inbox, SystemClock(), self.news.append, **more)  # type: ignore[arg-type]

    def next_message(self) -> tuple[str, str]:
        item = self.inbox.take(PATIENCE_S)
        assert isinstance(item, Arrival), "nothing arrived"
        return item.source, item.data.hex()

    def wait_news(self, event: PortEvent) -> str:
        clock = SystemClock()
        ends_s = clock.now_s() + PATIENCE_S
        while clock.now_s() < ends_s:
            for one in self.news:
                if one.event is event:
                    self.news.remove(one)
                    return one.source
            clock.sleep_until(clock.now_s() + 0.02)
        raise AssertionError(f"not {event} within {PATIENCE_S} s: {self.news}")


@pytest.fixture
def ears() -> Iterator[Callable[..., Ears]]:
    made: list[Ears] = []

    def make(**more: str) -> Ears:
        made.append(Ears(**more))
        return made[-1]

    yield make
    for one in made:
        one.inputs.close()


def test_ports_are_listed_and_ours_are_told_apart(plug: Callable[[str], Keyboard]) -> None:
    plug("Stage 61")
    ports = list_ports()
    assert (ports.api, ports.missing) == ("jack", None)
    assert "Stage 61:keys" in ports.inputs
    assert [name for name in ports.inputs if not is_ours(name)] == ["Stage 61:keys"]


def test_a_roster_knows_that_the_server_lives(jack: str) -> None:
    clock, roster = SystemClock(), Roster()
    for _ in range(5):
        assert roster.alive()
        clock.sleep_until(clock.now_s() + 0.05)
    assert roster.answers()
    roster.close()


def test_the_only_keyboard_is_heard_with_its_times(
    plug: Callable[[str], Keyboard], ears: Callable[..., Ears]
) -> None:
    keyboard, here, clock = plug("Stage 61"), ears(), SystemClock()
    assert here.inputs.open() == ("Stage 61:keys",)
    before_s = clock.now_s()
    keyboard.play("903c40")
    item = here.inbox.take(PATIENCE_S)
    assert isinstance(item, Arrival)
    assert (item.source, item.data) == ("Stage 61:keys", b"\x90\x3c\x40")
    assert before_s <= item.at_s <= clock.now_s()


def test_nothing_there_is_an_error_or_waited_for(
    jack: str, plug: Callable[[str], Keyboard], ears: Callable[..., Ears]
) -> None:
    with pytest.raises(PortError, match="plug one in"):
        ears().inputs.open()
    here = ears()
    assert here.inputs.open(patient=True) == ()
    keyboard = plug("Late 25")
    assert here.wait_news(PortEvent.OPENED) == "Late 25:keys"
    keyboard.play("903c40")
    assert here.next_message() == ("Late 25:keys", "903c40")


def test_a_keyboard_that_is_unplugged_is_lost_and_found_again_by_name(
    plug: Callable[[str], Keyboard], ears: Callable[..., Ears]
) -> None:
    keyboard, here = plug("Stage 61"), ears(wanted="stage")
    here.inputs.open()
    keyboard.play("903c40")
    assert here.next_message() == ("Stage 61:keys", "903c40")
    keyboard.unplug()
    assert here.wait_news(PortEvent.LOST) == "Stage 61:keys"
    assert here.inputs.open_sources == ()
    other = plug("Other 88")
    again = plug("Stage 61")
    assert here.wait_news(PortEvent.RETURNED) == "Stage 61:keys"
    other.play("904040")
    again.play("904340")
    assert here.next_message() == ("Stage 61:keys", "904340")


def test_several_keyboards_at_once_and_one_more(
    plug: Callable[[str], Keyboard], ears: Callable[..., Ears]
) -> None:
    upper, lower, here = plug("Upper"), plug("Lower"), ears(wanted="all")
    assert sorted(here.inputs.open()) == ["Lower:keys", "Upper:keys"]
    upper.play("903c40")
    assert here.next_message() == ("Upper:keys", "903c40")
    lower.play("b0407f")
    assert here.next_message() == ("Lower:keys", "b0407f")
    third = plug("Third")
    assert here.wait_news(PortEvent.OPENED) == "Third:keys"
    third.play("903e40")
    assert here.next_message() == ("Third:keys", "903e40")
    lower.unplug()
    assert here.wait_news(PortEvent.LOST) == "Lower:keys"
    upper.play("803c40")
    assert here.next_message() == ("Upper:keys", "803c40")


def test_several_and_none_named_is_an_error(
    plug: Callable[[str], Keyboard], ears: Callable[..., Ears]
) -> None:
    plug("Upper")
    plug("Lower")
    with pytest.raises(PortError, match="several MIDI inputs"):
        ears().inputs.open()


def test_a_device_that_only_sends_active_sensing_is_no_player(
    plug: Callable[[str], Keyboard], ears: Callable[..., Ears]
) -> None:
    keyboard, here = plug("Stage 61"), ears()
    here.inputs.open()
    for message in ("fe", "f8", "fe", "f07e7f0601f7", "903c40"):
        keyboard.play(message)
    assert here.next_message() == ("Stage 61:keys", "903c40")


def test_an_unknown_midi_system_is_an_error_with_the_nearest() -> None:
    with pytest.raises(ConfigError, match="did you mean 'jack'"):
        list_ports("jakc")


def run(program: str, **environment: str) -> str:
    """Run a program of a few lines with this package, in a process of its own."""
    ran = subprocess.run(
        [sys.executable, "-c", program],
        cwd=TOP,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert ran.stderr == ""  # nothing that would tear a screen
    return ran.stdout


def test_without_a_midi_system_the_list_says_what_to_start() -> None:
    program = "from livecont.live.ports import list_ports; print(list_ports('jack').missing)"
    out = run(program, JACK_DEFAULT_SERVER="livecont-no-such-server")
    assert "no MIDI system" in out
    assert "\n" not in out.strip()


def test_without_rtmidi_the_list_says_what_to_install(tmp_path: Path) -> None:
    """As on a Debian machine without libasound2, where importing rtmidi fails."""
    (tmp_path / "rtmidi.py").write_text(
        "raise ImportError('libasound.so.2: cannot open shared object file')", "utf-8"
    )
    program = "from livecont.live.ports import list_ports; print(list_ports().missing)"
    out = run(program, PYTHONPATH=str(tmp_path))
    assert "apt install libasound2" in out


SERVER_DIES = """
import os, sys
from pathlib import Path
sys.path.insert(0, "tests")
from conftest import JackServer
from livecont.live.clock import SystemClock
from livecont.live.hearing import Inbox
from livecont.live.inputs import Inputs
sys.path.insert(0, "tests/live")
from test_ports import Keyboard

def wait(clock, what, news):
    ends_s = clock.now_s() + 20
    while not any(one.event == what for one in news) and clock.now_s() < ends_s:
        clock.sleep_until(clock.now_s() + 0.02)
    print(what, any(one.event == what for one in news), flush=True)

if __name__ == "__main__":
    clock, inbox, news, log = SystemClock(), Inbox(), [], Path(sys.argv[1])
    server = JackServer(os.environ["JACK_DEFAULT_SERVER"], log)
    server.start()
    keyboard = Keyboard("Stage 61")
    inputs = Inputs(inbox, clock, news.append)
    print(*inputs.open(), flush=True)
    server.kill()
    keyboard.process.kill()
    keyboard.process.wait()
    wait(clock, "lost", news)
    server.start()
    again = Keyboard("Stage 61")
    wait(clock, "returned", news)
    again.play("903c40")
    print(inbox.take(10).data.hex(), flush=True)
    if sys.argv[2] == "close":
        inputs.close()
        again.unplug()
        server.stop()
    else:  # the server dies just before the end
        server.kill()
        inputs.close()
        again.process.kill()
        again.process.wait()
    print("end", flush=True)
"""


@pytest.mark.parametrize("how", ["close", "die"])
def test_a_midi_system_that_dies_is_survived_and_found_again(
    doomed_jack: str, tmp_path: Path, how: str
) -> None:
    """In a process of its own: libjack knows one server a process."""
    ran = subprocess.run(
        [sys.executable, "-c", SERVER_DIES, str(tmp_path / "log.txt"), how],
        cwd=TOP,
        env={**os.environ, "JACK_DEFAULT_SERVER": doomed_jack, "PYTHONPATH": str(TOP)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert ran.stdout.splitlines() == [
        "Stage 61:keys",
        "lost True",
        "returned True",
        "903c40",
        "end",
    ], ran.stderr
    assert ran.returncode == 0  # no crash in libjack
