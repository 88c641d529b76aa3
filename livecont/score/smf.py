"""Reading Standard MIDI Files into what a player did.

Conventions: seconds from the file's start, by its tempo map; events in time order, in file order
where they fall together. Format 0 and 1, division in ticks a quarter or in SMPTE frames (Standard
MIDI Files 1.0). Files are untrusted: size, number of events and length are bounded, every read is
bounds-checked, and nothing but `ScoreError` comes out. Only keys and the three pedals are kept.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from livecont.errors import ConfigError, ScoreError
from livecont.music.key import Key, make_key
from livecont.plainness import not_plain
from livecont.sequence.events import (
    SOFT,
    SOSTENUTO,
    SUSTAIN,
    KeyDown,
    KeyUp,
    PedalMove,
    PlayerEvent,
)

MOST_BYTES = 16 * 2**20
MOST_EVENTS = 500_000  # an hour of dense playing has about a fifth of it
MOST_SECONDS = 24 * 3600.0
MOST_STRIKES_A_SECOND = 2000  # two hands strike some 100

DEFAULT_TEMPO_US = 500_000  # microseconds a quarter until a tempo event says otherwise
_PEDALS = (SUSTAIN, SOSTENUTO, SOFT)
# data bytes after a channel message's status, by its high nibble
_DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}
_META_TRACK_NAME, _META_END, _META_TEMPO, _META_KEY = 0x03, 0x2F, 0x51, 0x59
_FRAMES_PER_SECOND = {24: 24.0, 25: 25.0, 29: 30 / 1.001, 30: 30.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """What a file holds.

    `length_s` reaches to the last event of any kind. `key` is the first key signature's, if any.
    `division` is in ticks a quarter, None where the file counts SMPTE frames.
    """

    events: tuple[PlayerEvent, ...]
    length_s: float
    key: Key | None
    division: int | None


@dataclass(slots=True)
class _Track:
    """One track, its times in ticks; `keys` are (tick, status, data 1, data 2)."""

    name: str = ""
    keys: list[tuple[int, int, int, int]] = field(default_factory=list)
    tempi: list[tuple[int, int]] = field(default_factory=list)
    signatures: list[tuple[int, Key]] = field(default_factory=list)
    end_tick: int = 0


class _Bytes:
    """A chunk's bytes, read from the front, never past the end."""

    __slots__ = ("at", "data", "end", "what")

    def __init__(self, data: bytes, start: int, end: int, what: str) -> None:
        self.data, self.at, self.end, self.what = data, start, end, what

    def byte(self) -> int:
        if self.at >= self.end:
            raise ScoreError(f"{self.what} is cut off at byte {self.at}")
        self.at += 1
        return self.data[self.at - 1]

    def block(self, length: int) -> bytes:
        if self.at + length > self.end:
            raise ScoreError(f"{self.what} is cut off at byte {self.end}")
        self.at += length
        return self.data[self.at - length : self.at]

    def quantity(self) -> int:
        """Read a variable-length quantity: seven bits a byte, four bytes at most (SMF 1.0)."""
        value = 0
        for _ in range(4):
            byte = self.byte()
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise ScoreError(f"{self.what} has a number longer than four bytes at byte {self.at}")


def read_smf(path: Path | str, *, leave_out: Collection[str] = ()) -> Recording:
    """Read a MIDI file, all its tracks together, less those named in `leave_out`.

    Raises:
        ScoreError: where the file can't be read, is none, is cut off, or is beyond the bounds.
    """
    path = Path(path)
    try:
        wrong = not_plain(path)
        if wrong is not None:
            raise ScoreError(f"{path}: is {wrong}")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError as error:
        raise ScoreError(f"{path}: no such file") from error
    except (OSError, ValueError) as error:
        if isinstance(error, ScoreError):
            raise
        told = getattr(error, "strerror", None) or error
        raise ScoreError(f"{path}: can't be read ({told})") from error
    try:
        return parse_smf(data, leave_out=leave_out)
    except ScoreError as error:
        raise ScoreError(f"{path}: {error}") from error


def parse_smf(data: bytes, *, leave_out: Collection[str] = ()) -> Recording:
    """Return what a MIDI file's bytes hold; see `read_smf`.

    Raises:
        ScoreError: where they are no MIDI file, are cut off, or are beyond the bounds.
    """
    if len(data) > MOST_BYTES:
        raise ScoreError(f"larger than {MOST_BYTES // 2**20} MB: not a recording of playing")
    if data[:4] != b"MThd":
        raise ScoreError("not a Standard MIDI File (it does not begin with MThd)")
    header = _Bytes(data, 4, len(data), "the header")
    length = int.from_bytes(header.block(4), "big")
    if length < 6:
        raise ScoreError(f"the header is {length} bytes long instead of 6")
    fields = header.block(length)
    kind, count, division = (int.from_bytes(fields[i : i + 2], "big") for i in (0, 2, 4))
    if kind not in (0, 1):
        raise ScoreError(f"MIDI file format {kind}: only 0 and 1 hold one performance")
    tracks = [_read_track(chunk) for chunk in _chunks(data, header.at, count)]
    return _merge(tracks, division, leave_out)


def _chunks(data: bytes, at: int, count: int) -> Iterator[_Bytes]:
    """Yield the track chunks; chunks of other kinds are to be passed over (SMF 1.0)."""
    found = 0
    while found < count:
        if at + 8 > len(data):
            raise ScoreError(f"the file is cut off: it has {found} of {count} tracks")
        kind, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "big")
        if at + 8 + length > len(data):
            raise ScoreError(f"the file is cut off inside track {found + 1} of {count}")
        if kind == b"MTrk":
            found += 1
            yield _Bytes(data, at + 8, at + 8 + length, f"track {found}")
        at += 8 + length


def _read_track(chunk: _Bytes) -> _Track:
    track = _Track()
    tick, status = 0, 0
    while chunk.at < chunk.end:
        tick += chunk.quantity()
        track.end_tick = tick
        byte = chunk.byte()
        if byte == 0xFF:
            if _read_meta(chunk, track, tick):
                break
        elif byte in (0xF0, 0xF7):  # system exclusive, or escaped bytes
            chunk.block(chunk.quantity())
        elif byte >= 0xF0:
            raise ScoreError(f"{chunk.what} has a status byte {byte:#04x} at byte {chunk.at - 1}")
        else:
            if byte >= 0x80:
                status, first = byte, chunk.byte()
            elif status:
                first = byte  # running status
            else:
                raise ScoreError(f"{chunk.what} begins without a status at byte {chunk.at - 1}")
            second = chunk.byte() if _DATA_BYTES[status >> 4] == 2 else 0
            _keep(track, tick, status, min(first, 127), min(second, 127))
    return track


def _keep(track: _Track, tick: int, status: int, first: int, second: int) -> None:
    """Keep a channel message if it is a key or a pedal."""
    kind = status >> 4
    if kind in (0x8, 0x9) or (kind == 0xB and first in _PEDALS):
        if len(track.keys) >= MOST_EVENTS:
            raise ScoreError(f"more than {MOST_EVENTS} events: not a recording of playing")
        track.keys.append((tick, status, first, second))


def _read_meta(chunk: _Bytes, track: _Track, tick: int) -> bool:
    """Read a meta event; return whether it ends the track. Malformed ones are passed over."""
    kind = chunk.byte()
    content = chunk.block(chunk.quantity())
    if kind == _META_TEMPO and len(content) == 3 and any(content):
        track.tempi.append((tick, int.from_bytes(content, "big")))
    elif kind == _META_KEY and len(content) == 2:
        key = _signature(int.from_bytes(content[:1], "big", signed=True), content[1])
        if key is not None:
            track.signatures.append((tick, key))
    elif kind == _META_TRACK_NAME and not track.name:
        track.name = content[:200].decode("latin-1").strip()
    return kind == _META_END


def _signature(fifths: int, minor: int) -> Key | None:
    """Return the key of a key signature: sharps positive, and 0 for major, 1 for minor."""
    if not -7 <= fifths <= 7 or minor not in (0, 1):
        return None
    tonic_fifths = fifths + 3 * minor  # a minor tonic lies three fifths above its relative major's
    letter = 4 * tonic_fifths % 7  # a fifth is four places
    alter = (tonic_fifths + 1) // 7  # F to B carry none
    try:
        return make_key(letter, alter, "minor" if minor else "major")
    except ConfigError:
        return None


def _merge(tracks: list[_Track], division: int, leave_out: Collection[str]) -> Recording:
    kept = [track for track in tracks if track.name not in leave_out]
    keys = sorted((key for track in kept for key in track.keys), key=lambda key: key[0])
    if len(keys) > MOST_EVENTS:
        raise ScoreError(f"more than {MOST_EVENTS} events: not a recording of playing")
    tempi = sorted((t for track in tracks for t in track.tempi), key=lambda tempo: tempo[0])
    signatures = sorted((s for track in tracks for s in track.signatures), key=lambda s: s[0])
    seconds = _Seconds(division, tempi)
    events = [_event(seconds.at(tick), status, a, b) for tick, status, a, b in keys]
    _check_playing(events)
    length_s = seconds.at(max((track.end_tick for track in tracks), default=0))
    if length_s > MOST_SECONDS:
        raise ScoreError(f"longer than {MOST_SECONDS / 3600:.0f} hours: not a recording of playing")
    return Recording(
        events=(*events, *_closing(events, length_s)),
        length_s=length_s,
        key=signatures[0][1] if signatures else None,
        division=seconds.division,
    )


class _Seconds:
    """Turns rising ticks into seconds along a tempo map."""

    __slots__ = ("_base_s", "_base_tick", "_next", "_per_tick_s", "_tempi", "division")

    def __init__(self, division: int, tempi: list[tuple[int, int]]) -> None:
        self._base_tick, self._base_s, self._next = 0, 0.0, 0
        self.division: int | None = division
        self._tempi = tempi
        if division >= 0x8000:  # SMPTE: frames a second (negative), ticks a frame
            frames, ticks = 256 - (division >> 8), division & 0xFF
            if frames not in _FRAMES_PER_SECOND or not ticks:
                raise ScoreError(f"the header's division {division:#06x} is none that is in use")
            self.division, self._tempi = None, []
            self._per_tick_s = 1 / (_FRAMES_PER_SECOND[frames] * ticks)
        elif division:
            self._per_tick_s = DEFAULT_TEMPO_US / 1e6 / division
        else:
            raise ScoreError("the header says 0 ticks a quarter")

    def at(self, tick: int) -> float:
        while self._next < len(self._tempi) and self._tempi[self._next][0] <= tick:
            change_tick, tempo_us = self._tempi[self._next]
            self._base_s += (change_tick - self._base_tick) * self._per_tick_s
            self._base_tick = change_tick
            assert self.division is not None  # noqa: S101 - SMPTE files have no tempo map
            self._per_tick_s = tempo_us / 1e6 / self.division
            self._next += 1
        return self._base_s + (tick - self._base_tick) * self._per_tick_s


def _event(at_s: float, status: int, first: int, second: int) -> PlayerEvent:
    channel = status & 0x0F
    if status >> 4 == 0xB:
        return PedalMove(at_s=at_s, controller=first, value=second, channel=channel)
    if status >> 4 == 0x9 and second:
        return KeyDown(at_s=at_s, pitch=first, velocity=second, channel=channel)
    return KeyUp(at_s=at_s, pitch=first, channel=channel)


def _check_playing(events: list[PlayerEvent]) -> None:
    """Check that within no second more is struck than any playing has.

    Raises:
        ScoreError: saying where, in seconds from the file's start.
    """
    strikes_s = [event.at_s for event in events if isinstance(event, KeyDown)]
    for first_s, last_s in zip(strikes_s, strikes_s[MOST_STRIKES_A_SECOND:], strict=False):
        if last_s - first_s < 1.0:
            raise ScoreError(
                f"more than {MOST_STRIKES_A_SECOND} notes within a second, at {first_s:.2f} s: not"
                " a recording of playing; see to its tempo, or record it anew"
            )


def _closing(events: list[PlayerEvent], end_s: float) -> list[PlayerEvent]:
    """Return a release at the end for every key that the file leaves down."""
    down: dict[tuple[int, int], KeyUp] = {}
    for event in events:
        if isinstance(event, KeyDown):
            place = (event.channel, event.pitch)
            down[place] = KeyUp(at_s=end_s, pitch=event.pitch, channel=event.channel)
        elif isinstance(event, KeyUp):
            down.pop((event.channel, event.pitch), None)
    return list(down.values())
