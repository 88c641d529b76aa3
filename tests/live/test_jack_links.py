"""A port that comes back under its name at once is noticed, though it was never missing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from livecont.live.clock import SystemClock
from livecont.live.hearing import Inbox
from livecont.live.inputs import Inputs, PortEvent, PortNews
from livecont.live.jack_links import JackLinks, marked
from livecont.live.outputs import MidiOutput
from livecont.live.wire import OutputChoice, OutputKind

rtmidi = pytest.importorskip("rtmidi", reason="python-rtmidi can't be loaded")

CLOCK = SystemClock()
SYNTH, KEYBOARD = "Links Synth", "Links Keyboard"


def until(look: Any, patience_s: float = 10.0) -> bool:
    ends_s = CLOCK.now_s() + patience_s
    while not (true := bool(look())) and CLOCK.now_s() < ends_s:
        CLOCK.sleep_until(CLOCK.now_s() + 0.02)
    return true


class Instrument:
    """A port of another program, as far as livecont can see."""

    def __init__(self, kind: Any, name: str) -> None:
        self._kind, self._name = kind, name
        self.open()

    def open(self) -> None:
        self.client = self._kind(rtmidi.API_UNIX_JACK, name=self._name)
        self.client.open_virtual_port("port")

    def close(self) -> None:
        self.client.close_port()
        self.client.delete()


@pytest.fixture
def synth(jack: str) -> Iterator[Instrument]:
    made = Instrument(rtmidi.MidiIn, SYNTH)
    yield made
    made.close()


@pytest.fixture
def keyboard(jack: str) -> Iterator[Instrument]:
    made = Instrument(rtmidi.MidiOut, KEYBOARD)
    yield made
    made.close()


def test_a_synth_started_anew_between_two_looks_is_joined_again(synth: Instrument) -> None:
    name = f"{SYNTH}:port"
    output = MidiOutput(
        OutputChoice(kind=OutputKind.PORT, name=name, api=rtmidi.API_UNIX_JACK, client="links-test")
    )
    try:
        assert output.present()
        synth.close()
        synth.open()
        assert name in output._out.get_ports()
        assert not output.present()
        assert output.reopen()
        assert output.present()
        output.send(b"\x90\x3c\x50", 0.0)
        assert until(lambda: synth.client.get_message() is not None)
    finally:
        output.close()


def test_a_keyboard_plugged_in_again_between_two_looks_is_heard_again(
    keyboard: Instrument,
) -> None:
    news: list[PortNews] = []
    inbox: Inbox[Any] = Inbox()
    inputs = Inputs(inbox, CLOCK, news.append, wanted=KEYBOARD)
    try:
        assert inputs.open() == (f"{KEYBOARD}:port",)
        keyboard.close()
        keyboard.open()
        assert until(lambda: len(news) == 2)
        assert [one.event for one in news] == [PortEvent.LOST, PortEvent.RETURNED]

        def heard() -> bool:
            keyboard.client.send_message(b"\x90\x3c\x50")
            return inbox.take(0.05) is not None

        assert until(heard)
    finally:
        inputs.close()


def test_a_port_is_joined_to_ours_or_not(synth: Instrument) -> None:
    name, ours = f"{SYNTH}:port", marked("out")
    links = JackLinks("links-test")
    out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name="links-out")
    try:
        assert not links.joined(name, ours)
        out.open_port(out.get_ports().index(name), ours)
        assert links.joined(name, ours)
        assert not links.joined(name, marked("in"))
        assert not links.joined("no such:port", ours)
    finally:
        links.close(answers=True)
        out.close_port()
        out.delete()


def test_cycles_go_on_while_the_server_does(jack: str) -> None:
    links = JackLinks("links-test")
    began_s = CLOCK.now_s()
    try:
        assert links.await_cycles(3, 5.0)
        assert CLOCK.now_s() - began_s > 2 * 64 / 48_000
        assert not links.await_cycles(10_000, 0.05)
    finally:
        links.close(answers=True)
