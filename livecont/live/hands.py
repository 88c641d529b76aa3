"""MIDI bytes in, whole messages out, and what a message says of the player's hands.

Conventions: MIDI 1.0. A message is `bytes` with its status byte first, channel messages only:
real-time bytes may stand anywhere and change nothing, system exclusive and system common
messages are passed over and end running status. Nothing that arrives can raise.
"""

from __future__ import annotations

from collections.abc import Iterable

from livecont.live.messages import CONTROL_CHANGE, NOTE_OFF, NOTE_ON
from livecont.sequence.events import (
    SOFT,
    SOSTENUTO,
    SUSTAIN,
    KeyDown,
    KeyUp,
    PedalMove,
    PlayerEvent,
)

PEDALS = frozenset({SUSTAIN, SOSTENUTO, SOFT})
# channel mode messages: all sound off, all notes off, and those that imply the latter
ALL_UP = frozenset({120, 123, 124, 125, 126, 127})
RESET_CONTROLLERS = 121
_ONE_DATA_BYTE = (0xC0, 0xD0)  # program change, channel pressure


class Stream:
    r"""One input's stream of bytes, cut into channel messages.

    >>> stream = Stream()
    >>> [m.hex(" ") for m in stream.feed(b"\x90\x3c\xf8\x40\x3e\x00")]
    ['90 3c 40', '90 3e 00']
    """

    __slots__ = ("_data", "_status")

    def __init__(self) -> None:
        self._status = 0  # the running status, 0 for none
        self._data = bytearray()

    def feed(self, data: Iterable[int]) -> list[bytes]:
        """Take some bytes and return the messages that they complete."""
        found: list[bytes] = []
        for byte in data:
            if byte >= 0xF8:  # real time
                continue
            if byte >= 0x80:
                self._status = byte if byte < 0xF0 else 0
                self._data.clear()
            elif self._status:
                self._data.append(byte)
                if len(self._data) == message_length(self._status) - 1:
                    found.append(bytes((self._status, *self._data)))
                    self._data.clear()
        return found


def message_length(status: int) -> int:
    """Return how many bytes a channel message has."""
    return 2 if status & 0xF0 in _ONE_DATA_BYTE else 3


class Hands:
    """Which keys are down, so that every event makes sense where the bytes may not.

    A note-on with velocity 0 is a release (MIDI 1.0); a note-on of a key that is down is its
    release and a new strike; a release of a key that is not down says nothing; all-notes-off
    releases everything on its channel. Where two inputs share a key, the later strike owns it.
    """

    def __init__(self) -> None:
        self._owners: dict[tuple[int, int], str] = {}  # (channel, pitch) -> input
        self._pedals: dict[tuple[int, int], str] = {}  # (channel, controller) -> input

    @property
    def pitches(self) -> frozenset[int]:
        """The keys that are down, on any channel."""
        return frozenset(pitch for _, pitch in self._owners)

    def owns(self, source: str, channel: int, pitch: int) -> bool:
        """Whether a key is down at one input."""
        return self._owners.get((channel, pitch)) == source

    def read(self, source: str, message: bytes, at_s: float) -> tuple[PlayerEvent, ...]:
        """Return what a message from an input says of the player."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == NOTE_ON and message[2] > 0:
            return self._strike(source, channel, message[1], message[2], at_s)
        if kind in (NOTE_ON, NOTE_OFF):
            return self._lift(source, channel, message[1], at_s)
        if kind == CONTROL_CHANGE:
            return self._control(source, channel, message[1], message[2], at_s)
        return ()

    def let_go(self, source: str, at_s: float) -> tuple[PlayerEvent, ...]:
        """Return the releases of everything held at an input that is gone."""
        keys = [key for key, owner in self._owners.items() if owner == source]
        pedals = [pedal for pedal, owner in self._pedals.items() if owner == source]
        return self._release(keys, pedals, at_s)

    def _strike(
        self, source: str, channel: int, pitch: int, velocity: int, at_s: float
    ) -> tuple[PlayerEvent, ...]:
        down = KeyDown(at_s=at_s, pitch=pitch, velocity=velocity, channel=channel)
        held = (channel, pitch) in self._owners
        self._owners[channel, pitch] = source
        if held:
            return (KeyUp(at_s=at_s, pitch=pitch, channel=channel), down)
        return (down,)

    def _lift(self, source: str, channel: int, pitch: int, at_s: float) -> tuple[PlayerEvent, ...]:
        if not self.owns(source, channel, pitch):
            return ()
        del self._owners[channel, pitch]
        return (KeyUp(at_s=at_s, pitch=pitch, channel=channel),)

    def _control(
        self, source: str, channel: int, number: int, value: int, at_s: float
    ) -> tuple[PlayerEvent, ...]:
        if number in PEDALS:
            if value > 0:
                self._pedals[channel, number] = source
            else:
                self._pedals.pop((channel, number), None)
            return (PedalMove(at_s=at_s, controller=number, value=value, channel=channel),)
        mine = [key for key, owner in self._owners.items() if owner == source and key[0] == channel]
        if number in ALL_UP:
            return self._release(mine, [], at_s)
        if number == RESET_CONTROLLERS:
            pedals = [p for p, owner in self._pedals.items() if owner == source and p[0] == channel]
            return self._release([], pedals, at_s)
        return ()

    def _release(
        self, keys: list[tuple[int, int]], pedals: list[tuple[int, int]], at_s: float
    ) -> tuple[PlayerEvent, ...]:
        for key in keys:
            del self._owners[key]
        for pedal in pedals:
            del self._pedals[pedal]
        ups = [KeyUp(at_s=at_s, pitch=pitch, channel=channel) for channel, pitch in keys]
        moves = [
            PedalMove(at_s=at_s, controller=number, value=0, channel=channel)
            for channel, number in pedals
        ]
        return (*ups, *moves)
