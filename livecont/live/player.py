"""What the player does, told from everything that arrives: cut, cleared of echoes, made sense of.

One arrival goes through: the stream (bytes to messages), the echo guard (ours or his), the hands
(messages to keys), the panel (control or music). All of it after the driver's callback, in the
runner's thread.

Conventions: as in `live.hands`, `live.echo`, `live.controls`. For one thread only; what runs in the
callback is `live.hearing` alone.
"""

from __future__ import annotations

from collections.abc import Iterable

from livecont.live.controls import Panel
from livecont.live.echo import SLACK_S, EchoGuard, Route
from livecont.live.hands import Hands, Stream
from livecont.live.hearing import Arrival, Thru
from livecont.live.messages import TimedMessage
from livecont.sequence.events import PlayerEvent
from livecont.sitting.events import SittingEvent


class Player:
    """The player of a sitting, at however many keyboards.

    `guard` is None where our output can't come back: a sound of our own, or none.
    """

    def __init__(self, panel: Panel, guard: EchoGuard | None, thru: Thru | None) -> None:
        self._panel = panel
        self._guard = guard
        self._thru = thru
        self._hands = Hands()
        self._streams: dict[str, Stream] = {}

    def hear(self, arrival: Arrival) -> tuple[SittingEvent, ...]:
        """Return what an arrival means to the sitting."""
        stream = self._streams.setdefault(arrival.source, Stream())
        heard: list[SittingEvent] = []
        for message in stream.feed(arrival.data):
            if not self._is_ours(arrival, message):
                heard += self._music(self._hands.read(arrival.source, message, arrival.at_s))
            if arrival.passed and self._guard is not None:
                self._guard.sent(message, arrival.at_s, passed=True)
        return tuple(heard)

    def type(self, sign: str, at_s: float) -> tuple[SittingEvent, ...]:
        """Return what a key of the computer means to the sitting."""
        return self._panel.type(sign, at_s)

    def let_go(self, source: str, at_s: float) -> tuple[SittingEvent, ...]:
        """Return the releases of everything held at a keyboard that is lost."""
        self._streams.pop(source, None)
        return tuple(self._music(self._hands.let_go(source, at_s)))

    def let_go_all(self, at_s: float) -> tuple[SittingEvent, ...]:
        """Return the releases of everything held: messages were lost, and who knows which."""
        sources = tuple(self._streams)
        return tuple(event for source in sources for event in self.let_go(source, at_s))

    def opened(self, source: str) -> None:
        """Note that a keyboard is (again) listened to."""
        self._streams.pop(source, None)
        if self._guard is not None:
            self._guard.forget_route(source)

    def output_opened(self) -> None:
        """Note that the output is another one, or back: no route is known."""
        for source in tuple(self._streams):
            self.opened(source)

    def planned(self, messages: Iterable[TimedMessage]) -> None:
        """Note what livecont is going to send."""
        for message in messages:
            if self._guard is not None:
                self._guard.sent(message.data, message.due_s)
            if self._thru is not None:
                self._thru.plan(message.data, message.due_s)

    def hushed(self, at_s: float) -> None:
        """Note that nothing planned for later is sent."""
        if self._guard is not None:
            self._guard.hushed(at_s)

    def probe(self, at_s: float, sounding: Iterable[int]) -> bytes | None:
        """Return a message to send now that tells whether our output comes back."""
        if self._guard is None:
            return None
        return self._guard.probe(at_s, self._hands.pitches, frozenset(sounding))

    @property
    def echoing(self) -> tuple[str, ...]:
        """The keyboards at which our own output comes back."""
        if self._guard is None:
            return ()
        guard = self._guard
        return tuple(s for s in tuple(self._streams) if guard.route(s) is Route.KNOWN)

    def _is_ours(self, arrival: Arrival, message: bytes) -> bool:
        if self._guard is None:
            return False
        held = self._hands.owns(arrival.source, message[0] & 0x0F, message[1])
        ours = self._guard.is_ours(arrival.source, message, arrival.at_s, held=held)
        if self._thru is not None:
            longest_s = self._guard.longest_s
            self._thru.returns_within_s = longest_s + SLACK_S if longest_s is not None else 0.0
        return ours

    def _music(self, events: Iterable[PlayerEvent]) -> list[SittingEvent]:
        return [heard for event in events for heard in self._panel.hear(event)]
