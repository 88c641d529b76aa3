"""From a link that is to sound to the MIDI messages that sound it, each with its moment.

Conventions: `due_s` is on the live clock (`live.clock`); `data` is one whole MIDI 1.0 message,
status byte first. Messages come sorted by due time; at the same moment releases come before
pedals and pedals before strikes, so that a repeated key comes up before it goes down again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the sounding process imports this module and needs none of these
    from collections.abc import Iterator

    from livecont.sequence.pattern import Link, PedalMark
    from livecont.sitting.events import Sound

NOTE_OFF = 0x80  # MIDI 1.0 status bytes, channel in the low four bits
NOTE_ON = 0x90
CONTROL_CHANGE = 0xB0
ALL_NOTES_OFF = 123  # MIDI 1.0 channel mode message

_RELEASE_VELOCITY = 64  # what MIDI 1.0 asks of a sender that does not measure it
_PEDAL_DOWN = 64  # MIDI 1.0: 0..63 is off, 64..127 is on

_RELEASE, _PEDAL, _STRIKE = range(3)  # order at the same moment


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedMessage:
    """One MIDI message and when it is due."""

    due_s: float
    data: bytes


def messages_of(sound: Sound, channel: int | None = None) -> tuple[TimedMessage, ...]:
    """Return what sounds the link of `sound`: strikes, releases and pedal moves, in time order.

    `channel` None keeps each note's own channel, and pedals go to every channel that the link's
    notes use (a pedal mark has none). A pedal that the link leaves down comes up where the next
    link would first move it, so that it doesn't stay down after the last link of a chain and is
    not lifted early between two.

    Raises:
        ValueError: a channel, pitch or controller value that MIDI 1.0 doesn't have.
    """
    link = sound.link
    ranked = [*_note_messages(sound, channel), *_pedal_messages(sound, _channels(link, channel))]
    ranked.sort(key=lambda item: (item[0], item[1]))
    return tuple(TimedMessage(due_s=due_s, data=data) for due_s, _, data in ranked)


def _note_messages(sound: Sound, channel: int | None) -> Iterator[tuple[float, int, bytes]]:
    for note in sound.link.notes:
        on_channel = note.channel if channel is None else channel
        struck_s = sound.start_s + note.offset_s
        velocity = min(127, max(1, note.velocity))  # 0 would be a release
        yield struck_s, _STRIKE, _three(NOTE_ON, on_channel, note.pitch, velocity)
        released_s = struck_s + max(0.0, note.duration_s)
        # a note of no length still has to be struck before it is let go
        rank = _RELEASE if released_s > struck_s else _STRIKE
        yield released_s, rank, _three(NOTE_OFF, on_channel, note.pitch, _RELEASE_VELOCITY)


def _pedal_messages(sound: Sound, channels: tuple[int, ...]) -> Iterator[tuple[float, int, bytes]]:
    unit_s = sound.link.unit_s
    first: dict[int, PedalMark] = {}
    last: dict[int, PedalMark] = {}
    for mark in sorted(sound.link.pedals, key=lambda mark: mark.offset_units):
        first.setdefault(mark.controller, mark)
        last[mark.controller] = mark
        due_s = sound.start_s + mark.offset_units * unit_s
        for channel in channels:
            yield due_s, _PEDAL, _three(CONTROL_CHANGE, channel, mark.controller, mark.value)
    for controller, mark in last.items():
        if mark.value < _PEDAL_DOWN:
            continue
        lifted_s = sound.start_s + (1.0 + first[controller].offset_units) * unit_s
        for channel in channels:
            yield lifted_s, _PEDAL, _three(CONTROL_CHANGE, channel, controller, 0)


def _channels(link: Link, channel: int | None) -> tuple[int, ...]:
    if channel is not None:
        return (channel,)
    return tuple(sorted({note.channel for note in link.notes})) or (0,)


def _three(status: int, channel: int, first: int, second: int) -> bytes:
    if not (0 <= channel <= 15 and 0 <= first <= 127 and 0 <= second <= 127):
        raise ValueError(f"no such MIDI message: channel {channel}, data {first}, {second}")
    return bytes((status | channel, first, second))
