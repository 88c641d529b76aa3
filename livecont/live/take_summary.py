"""How long a take is and how many notes are in it: what the list of takes tells, read cheaply.

A general reader makes an object of every message, which is some 6 s a megabyte; this one counts,
which is a fifth of a second.

Conventions: Standard MIDI Files 1.0, format 0 and 1. Files may be anybody's and broken: bounds are
checked, numbers are four bytes at most, and nothing but `ValueError` comes out.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO

from livecont.live.take_file import FIRST_TEMPO_US

MOST_CHUNKS = 10_000
_LARGEST = 0x0FFFFFFF  # four bytes of seven bits
# data bytes after a channel message's status, by its high nibble
_DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}
_META, _TRACK_NAME, _END, _TEMPO = 0xFF, 0x03, 0x2F, 0x51
_SYSEX = (0xF0, 0xF7)
_FRAMES_PER_SECOND = {24: 24.0, 25: 25.0, 29: 30 / 1.001, 30: 30.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """A file's length and the strikes in it, by the names of its tracks."""

    length_s: float
    strikes: dict[str, int]


@dataclass(slots=True)
class _Track:
    name: str = ""
    strikes: int = 0
    end_tick: int = 0
    tempi: list[tuple[int, int]] = field(default_factory=list)  # ticks, microseconds a quarter


def chunks(file: BinaryIO, size: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield kind, first byte and length of a MIDI file's chunks; only their heads are read.

    Raises:
        ValueError: no MIDI file, or one that is cut off.
    """
    at = 0
    for _ in range(MOST_CHUNKS):
        file.seek(at)
        head = file.read(8)
        if not at and head[:4] != b"MThd":
            raise ValueError("no MIDI file")
        if at and at == size:
            return
        if len(head) < 8:
            raise ValueError("cut off in the head of a chunk")
        kind, length = struct.unpack(">4sI", head)
        if at + 8 + length > size:
            raise ValueError("cut off in a chunk")
        yield kind, at + 8, length
        at += 8 + length
    raise ValueError("more chunks than any take has")


def summary(file: BinaryIO, size: int) -> Summary:
    """Read a MIDI file of `size` bytes.

    Raises:
        ValueError: no MIDI file, or a broken one.
    """
    tracks, count, division = [], 0, 0
    for kind, at, length in chunks(file, size):
        if kind not in (b"MThd", b"MTrk"):
            continue
        file.seek(at)
        data = file.read(length)
        if kind == b"MThd":
            if length < 6:
                raise ValueError("a head that is too short")
            form, count, division = struct.unpack(">HHH", data[:6])
            if form > 1:
                raise ValueError("no format of a take")
            continue
        try:
            tracks.append(_track(data))
        except (IndexError, KeyError) as error:
            raise ValueError("a broken track") from error
    if not 0 < count <= len(tracks):
        raise ValueError("cut off: not all its tracks are there")
    strikes: dict[str, int] = {}
    for track in tracks:
        strikes[track.name] = strikes.get(track.name, 0) + track.strikes
    return Summary(length_s=_length_s(tracks, division), strikes=strikes)


def _track(data: bytes) -> _Track:
    track = _Track()
    at = tick = status = 0
    end = len(data)
    while at < end:
        delta, at = _quantity(data, at)
        tick += delta
        byte = data[at]
        if byte >= 0xF0:
            at = _aside(track, tick, data, at)
            continue
        if byte & 0x80:
            status = byte
            at += 1
        length = _DATA_BYTES[status >> 4]
        if status & 0xF0 == 0x90 and data[at + 1]:
            track.strikes += 1
        at += length
    if at > end:
        raise ValueError("cut off in a message")
    track.end_tick = tick
    return track


def _quantity(data: bytes, at: int) -> tuple[int, int]:
    value = data[at]
    at += 1
    if value < 0x80:
        return value, at
    value &= 0x7F
    while True:
        byte = data[at]
        at += 1
        value = value << 7 | byte & 0x7F
        if value > _LARGEST:
            raise ValueError("a number longer than four bytes")
        if byte < 0x80:
            return value, at


def _aside(track: _Track, tick: int, data: bytes, at: int) -> int:
    """Take in a meta event, or pass a system message over; return where the next event is."""
    status = data[at]
    if status != _META and status not in _SYSEX:
        raise ValueError("a message that no file may have")
    kind = data[at + 1] if status == _META else None
    length, at = _quantity(data, at + (1 if kind is None else 2))
    what = data[at : at + length]
    if kind == _END:
        return len(data)
    if kind == _TRACK_NAME and not track.name:
        track.name = what[:100].decode("latin-1")
    elif kind == _TEMPO:
        track.tempi.append((tick, int.from_bytes(what[:3], "big")))
    return at + length


def _length_s(tracks: list[_Track], division: int) -> float:
    """Return the length by the tempo map; the division counts frames where its top bit is set."""
    end_tick = max((track.end_tick for track in tracks), default=0)
    if division & 0x8000:
        frames, ticks = 256 - (division >> 8), division & 0xFF
        if frames not in _FRAMES_PER_SECOND or not ticks:
            raise ValueError("a division that says nothing")
        return end_tick / (_FRAMES_PER_SECOND[frames] * ticks)
    if not division:
        raise ValueError("a division that says nothing")
    at_s, at_tick, tempo_us = 0.0, 0, FIRST_TEMPO_US
    tempi = sorted((one for track in tracks for one in track.tempi), key=lambda one: one[0])
    for tick, new_us in (*tempi, (end_tick, 0)):
        at_s += (tick - at_tick) * tempo_us / (division * 1e6)
        at_tick, tempo_us = tick, new_us
    return at_s
