"""What crosses between the main process and the sounding process, and in what portions.

Three one-way pipes join them: commands (main to sounding), thru (main to sounding, raw MIDI
messages, a pipe of its own so that a key never waits behind a batch) and replies (sounding to
main). Commands and replies are small tuples, a word first:

- commands: ("play", ((due_s, data), ...)), ("hush", everything). The end of the pipe is the
  command to release everything and end, so that a killed main process says the same as `close`.
- replies: ("ready", name, priority, now_s), ("failed", text), ("sent", ((sent_s, due_s, data),
  ...)), ("counts", counts), ("lost", text), ("found", name), ("done",).

Conventions: a frame stays below `FRAME_BYTES`. A pipe takes up to PIPE_BUF bytes in one piece or
not at all (POSIX write(2); at least 512 bytes, limits.h), so a frame never arrives in part, a
writer that must not wait can give up cleanly, and a reader never blocks in the middle of one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

FRAME_BYTES = 480  # below 512 less the connection's own header of 4
MESSAGE_BYTES = 256  # the longest message that is scheduled or passed through

_FRAME_COST = 48  # the word, the tuple and the pickle around them
_ITEM_COST = 28  # two floats, two lengths and the tuple around a message

Due = tuple[float, bytes]  # due_s, message
Sent = tuple[float, float | None, bytes]  # sent_s, due_s (None: passed through at once), message


class OutputKind(StrEnum):
    """Where the sound goes."""

    PORT = "port"  # a MIDI port of the machine, by name
    VIRTUAL = "virtual"  # a MIDI port that we open ourselves, for others to connect to
    INTERNAL = "internal"  # our own small sound
    SILENT = "silent"  # nowhere; everything else goes on as usual


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputChoice:
    """An output to be opened by the sounding process.

    `name` is the port's name as the MIDI system lists it (PORT) or is to list it (VIRTUAL); `api`
    is one of rtmidi's API numbers, 0 for its own choice; `client` is our name in the MIDI system.
    For INTERNAL: `a4_hz` is the pitch standard, `cents` what each pitch class from C up is moved
    by, `sound_system` the name of one of miniaudio's back ends ("null" plays to nobody), empty for
    the machine's usual one.
    """

    kind: OutputKind
    name: str = ""
    api: int = 0
    client: str = "livecont"
    a4_hz: float = 440.0
    cents: tuple[float, ...] = (0.0,) * 12
    sound_system: str = ""


class Priority(StrEnum):
    """What the operating system granted the sounding process."""

    REAL_TIME = "real-time"
    RAISED = "raised"
    NORMAL = "normal"


@dataclass(slots=True)
class Counts:
    """What the sounding process has done so far.

    `scheduled` and `passed` are messages that went out (planned ones, and the player's);
    `dropped_late` are note-ons that came too late to be played, `dropped_lost` messages for which
    there was no output, `dropped_bad` what was no MIDI message, `not_logged` messages sent whose
    log entry was given up because nobody read it.
    """

    scheduled: int = 0
    passed: int = 0
    dropped_late: int = 0
    dropped_lost: int = 0
    dropped_bad: int = 0
    not_logged: int = 0


def portions(items: Iterable[Due] | Iterable[Sent]) -> Iterator[tuple[tuple[object, ...], ...]]:
    """Yield `items` in order, in tuples that each fit one frame.

    >>> [len(portion) for portion in portions([(1.0, b"abc")] * 30)]
    [13, 13, 4]
    """
    portion: list[tuple[object, ...]] = []
    room = FRAME_BYTES - _FRAME_COST
    for item in items:
        cost = _ITEM_COST + len(item[-1])
        if portion and cost > room:
            yield tuple(portion)
            portion, room = [], FRAME_BYTES - _FRAME_COST
        portion.append(item)
        room -= cost
    if portion:
        yield tuple(portion)


_LENGTHS = {0x80: 3, 0x90: 3, 0xA0: 3, 0xB0: 3, 0xC0: 2, 0xD0: 2, 0xE0: 3}  # MIDI 1.0
_SYSTEM_LENGTHS = {0xF1: 2, 0xF2: 3, 0xF3: 2}  # others, real time included, are alone


def is_message(data: bytes) -> bool:
    """Say whether `data` is one whole MIDI 1.0 message, at most `MESSAGE_BYTES` long.

    >>> is_message(bytes((0x90, 60, 1))), is_message(bytes((0x90, 60))), is_message(b"")
    (True, False, False)
    """
    if not data or len(data) > MESSAGE_BYTES:
        return False
    status = data[0]
    if status < 0x80:
        return False
    if status == 0xF0:
        return len(data) >= 2 and data[-1] == 0xF7 and max(data[1:-1], default=0) < 0x80
    length = _LENGTHS[status & 0xF0] if status < 0xF0 else _SYSTEM_LENGTHS.get(status, 1)
    return len(data) == length and max(data[1:], default=0) < 0x80
