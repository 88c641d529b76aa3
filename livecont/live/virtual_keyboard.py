"""Plays written events into a sitting in real time, as though a keyboard sent them.

Conventions: events are timed from the moment when playing begins. They take the way of any
keyboard's bytes, through the driver's callback, so that nothing is heard differently.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence

from livecont.live.clock import Clock
from livecont.live.hearing import Ear
from livecont.live.messages import CONTROL_CHANGE, NOTE_OFF, NOTE_ON
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent

RELEASE_VELOCITY = 64


class VirtualKeyboard:
    """A keyboard that plays by itself, once, in a thread of its own."""

    def __init__(self, ear: Ear, clock: Clock, events: Iterable[PlayerEvent]) -> None:
        self._ear = ear
        self._clock = clock
        self._events: Sequence[PlayerEvent] = sorted(events, key=lambda event: event.at_s)
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self.play, name="virtual keyboard", daemon=True)

    @property
    def finished(self) -> bool:
        """Whether everything was played, or playing was stopped."""
        return not self._thread.is_alive() and self._thread.ident is not None

    def start(self) -> None:
        """Begin to play."""
        self._thread.start()

    def stop(self) -> None:
        """Play no further; what is held is let go."""
        self._stopped.set()
        if self._thread.is_alive():
            self._thread.join()

    def play(self) -> None:
        """Play to the end, in the thread that calls."""
        begun_s = self._clock.now_s()
        before_s = 0.0
        held: dict[tuple[int, int], bytes] = {}
        for event in self._events:
            left_s = begun_s + event.at_s - self._clock.now_s()
            if left_s > 0 and self._stopped.wait(left_s):
                break
            self._ear((message_of(event), event.at_s - before_s))
            before_s = event.at_s
            if isinstance(event, KeyDown):
                held[event.channel, event.pitch] = _release(event.channel, event.pitch)
            elif isinstance(event, KeyUp):
                held.pop((event.channel, event.pitch), None)
        for release in held.values():
            self._ear((release, 0.0))


def message_of(event: PlayerEvent) -> bytes:
    """Return the MIDI 1.0 message that a keyboard sends for an event."""
    if isinstance(event, KeyDown):
        return bytes((NOTE_ON | event.channel, event.pitch, event.velocity))
    if isinstance(event, KeyUp):
        return _release(event.channel, event.pitch)
    return bytes((CONTROL_CHANGE | event.channel, event.controller, event.value))


def _release(channel: int, pitch: int) -> bytes:
    return bytes((NOTE_OFF | channel, pitch, RELEASE_VELOCITY))
