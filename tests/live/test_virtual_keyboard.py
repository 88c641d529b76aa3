"""A keyboard that plays by itself, as any other would."""

from __future__ import annotations

import pytest

from livecont.live.clock import SystemClock
from livecont.live.hands import Hands, Stream
from livecont.live.hearing import Arrival, Ear, Inbox
from livecont.live.virtual_keyboard import VirtualKeyboard, message_of
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent

PIECE: tuple[PlayerEvent, ...] = (
    KeyDown(at_s=0.0, pitch=60, velocity=70),
    PedalMove(at_s=0.01, controller=64, value=127, channel=3),
    KeyUp(at_s=0.03, pitch=60),
    KeyDown(at_s=0.03, pitch=62, velocity=1),
    KeyUp(at_s=0.05, pitch=62),
)


def heard(inbox: Inbox[str]) -> list[PlayerEvent]:
    found: list[PlayerEvent] = []
    hands, stream = Hands(), Stream()
    while isinstance(item := inbox.take(0.0), Arrival):
        for message in stream.feed(item.data):
            found += hands.read(item.source, message, item.at_s)
    return found


def test_it_plays_what_is_written_with_the_times_written() -> None:
    clock, inbox = SystemClock(), Inbox[str]()
    begun_s = clock.now_s()
    keyboard = VirtualKeyboard(Ear("demo", inbox, clock), clock, PIECE)
    keyboard.play()
    events = heard(inbox)
    assert [type(event) for event in events] == [type(event) for event in PIECE]
    first_s = events[0].at_s
    assert 0.0 <= first_s - begun_s < 1.0
    for event, written in zip(events, PIECE, strict=True):
        assert event.at_s - first_s == pytest.approx(written.at_s, abs=0.05)


@pytest.mark.parametrize("event", PIECE)
def test_an_event_and_its_message_mean_the_same(event: PlayerEvent) -> None:
    hands = Hands()
    hands.read("keys", bytes((0x90, event.pitch, 1)), 0.0) if isinstance(event, KeyUp) else None
    assert hands.read("keys", message_of(event), event.at_s) == (event,)


def test_stopped_in_the_middle_it_lets_go_of_what_it_holds() -> None:
    clock, inbox = SystemClock(), Inbox[str]()
    held = (*PIECE[:2], KeyUp(at_s=3600.0, pitch=60))
    keyboard = VirtualKeyboard(Ear("demo", inbox, clock), clock, held)
    keyboard.start()
    first = inbox.take(10.0)
    keyboard.stop()
    assert keyboard.finished
    assert isinstance(first, Arrival)
    last = [item for item in iter(lambda: inbox.take(0.0), None) if isinstance(item, Arrival)]
    assert last[-1].data[:2] == bytes((0x80, 60))
