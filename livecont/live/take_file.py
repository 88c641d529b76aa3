"""A take as a Standard MIDI File: two tracks, `player` and `livecont`.

Conventions: Standard MIDI Files 1.0, format 1. The first track, the player's, also has the meta
events that belong to the whole: tempo, key signature, markers. Entries are in seconds from the
take's start, in any order. A quarter has `DIVISION` ticks, some 0.1 ms each at usual tempi; times
are counted from the last change of tempo, so that rounding does not add up. What still sounds at
the end is released there.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from livecont.live.messages import CONTROL_CHANGE, NOTE_OFF, NOTE_ON

DIVISION = 4800
FIRST_TEMPO_US = 500_000  # microseconds a quarter: what the standard takes where nothing is said
LEAST_TEMPO_US, MOST_TEMPO_US = 10_000, 0xFFFFFF  # 6,000 quarters a minute; three bytes
PLAYER, LIVECONT = "player", "livecont"

_TEXT, _TRACK_NAME, _MARKER, _END, _TEMPO, _KEY = 0x01, 0x03, 0x06, 0x2F, 0x51, 0x59
_LONGEST_DELTA = 0x0FFFFFFF  # four bytes of seven bits


class EntryKind(StrEnum):
    """What an entry of a take is; the letters are those of the journal."""

    PLAYED = "p"  # `data`: a MIDI message of the player's
    SOUNDED = "l"  # `data`: a MIDI message of livecont's
    TEMPO = "t"  # `text`: microseconds a quarter
    KEY = "k"  # `text`: sharps (flats negative), 1 for minor, the key's name
    MARK = "m"  # `text`: what happened


class Entry(NamedTuple):
    """One thing that happened, `at_s` from the take's start."""

    at_s: float
    kind: EntryKind
    data: bytes = b""
    text: str = ""


@dataclass(slots=True)
class _Track:
    """One track being written."""

    data: bytearray = field(default_factory=bytearray)
    tick: int = 0
    held: dict[tuple[int, int, int], None] = field(default_factory=dict)

    def add(self, tick: int, event: bytes) -> None:
        delta = max(0, tick - self.tick)
        while delta > _LONGEST_DELTA:  # hours of silence: a text that says nothing in between
            self.data += quantity(_LONGEST_DELTA) + meta(_TEXT, b"")
            self.tick += _LONGEST_DELTA
            delta -= _LONGEST_DELTA
        self.data += quantity(delta) + event
        self.tick = max(tick, self.tick)

    def message(self, tick: int, data: bytes) -> None:
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind == NOTE_ON and data[2]:
            self.held[NOTE_OFF, channel, data[1]] = None
        elif kind in (NOTE_ON, NOTE_OFF):
            self.held.pop((NOTE_OFF, channel, data[1]), None)
        elif kind == CONTROL_CHANGE and data[2]:
            self.held[CONTROL_CHANGE, channel, data[1]] = None
        elif kind == CONTROL_CHANGE:
            self.held.pop((CONTROL_CHANGE, channel, data[1]), None)
        self.add(tick, data)

    def chunk(self, end_tick: int) -> bytes:
        for kind, channel, first in tuple(self.held):
            self.message(end_tick, bytes((kind | channel, first, 0)))
        self.add(end_tick, meta(_END, b""))
        return b"MTrk" + struct.pack(">I", len(self.data)) + bytes(self.data)


class _Ticks:
    """Seconds to ticks under the tempo map so far."""

    def __init__(self) -> None:
        self._from_s, self._from_tick, self._tempo_us = 0.0, 0, FIRST_TEMPO_US

    def at(self, at_s: float) -> int:
        ticks_per_s = DIVISION * 1e6 / self._tempo_us
        return self._from_tick + max(0, round((at_s - self._from_s) * ticks_per_s))

    def turn(self, at_s: float, tempo_us: int) -> int:
        """Change the tempo; return the tick where that is."""
        tick = self.at(at_s)
        self._from_s += (tick - self._from_tick) * self._tempo_us / (DIVISION * 1e6)
        self._from_tick, self._tempo_us = tick, tempo_us
        return tick


def take_file(entries: Iterable[Entry], title: str = "livecont take") -> bytes:
    """Return the file's bytes.

    >>> take_file([]).startswith(b"MThd")
    True
    """
    player, livecont = _Track(), _Track()
    player.add(0, meta(_TRACK_NAME, PLAYER.encode()))
    player.add(0, meta(_TEXT, title.encode("utf-8")))
    player.add(0, meta(_TEMPO, FIRST_TEMPO_US.to_bytes(3, "big")))
    livecont.add(0, meta(_TRACK_NAME, LIVECONT.encode()))
    ticks, tick = _Ticks(), 0
    for entry in sorted(entries, key=lambda entry: entry.at_s):
        if entry.kind is EntryKind.TEMPO:
            tempo_us = min(MOST_TEMPO_US, max(LEAST_TEMPO_US, int(entry.text)))
            tick = ticks.turn(entry.at_s, tempo_us)
            player.add(tick, meta(_TEMPO, tempo_us.to_bytes(3, "big")))
            continue
        tick = ticks.at(entry.at_s)
        if entry.kind is EntryKind.PLAYED:
            player.message(tick, entry.data)
        elif entry.kind is EntryKind.SOUNDED:
            livecont.message(tick, entry.data)
        elif entry.kind is EntryKind.KEY:
            _add_key(player, tick, entry.text)
        else:
            player.add(tick, meta(_MARKER, entry.text.encode("utf-8")))
    header = struct.pack(">4sIHHH", b"MThd", 6, 1, 2, DIVISION)
    return header + player.chunk(tick) + livecont.chunk(tick)


def _add_key(track: _Track, tick: int, text: str) -> None:
    sharps, minor, name = text.split(" ", 2)
    track.add(tick, meta(_KEY, struct.pack(">bB", int(sharps), int(minor))))
    track.add(tick, meta(_TEXT, f"key: {name}".encode()))


def meta(kind: int, data: bytes) -> bytes:
    """Return a meta event's bytes."""
    return bytes((0xFF, kind)) + quantity(len(data)) + data


def quantity(number: int) -> bytes:
    """Return a variable-length quantity: seven bits a byte, all but the last with bit 7 set.

    The values are examples of the standard's own table.

    >>> quantity(0x40).hex(), quantity(0x2000).hex(), quantity(0x0FFFFFFF).hex()
    ('40', 'c000', 'ffffff7f')
    """
    found = bytearray((number & 0x7F,))
    while number := number >> 7:
        found.insert(0, 0x80 | (number & 0x7F))
    return bytes(found)
