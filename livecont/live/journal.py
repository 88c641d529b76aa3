"""The journal of a take: what is on disk while the sitting goes on, and after a kill.

A Standard MIDI File needs the length of each track before the track, so it can't grow line by
line. The journal can: a text file, one entry a line, appended and never changed.

    livecont take 1 2025-01-31T20:15:00
    p 1.250417 90 3c 40
    l 3.250391 90 39 3f
    t 3.220000 500000
    k 3.220000 0 1 a minor
    m 3.220000 take-over: link 3
    = 1234 5d41402a

Conventions: the letters are `take_file.EntryKind`'s, seconds count from the take's start, messages
are in hexadecimal. A `=` line tells the size and the CRC-32 of a MIDI file that is about to be
written from what stands above, so that a later repair knows its own file from one that was edited.
A line without its end, or one that says nothing known, is passed over.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from livecont.live.take_file import Entry, EntryKind

HEADER = "livecont take 1"
MOST_LINE_BYTES = 512
MOST_TEXT = 200
MOST_S = 31 * 24 * 3600.0
_WRITTEN = "="


@dataclass(frozen=True, slots=True, kw_only=True)
class Journal:
    """What a journal holds: entries in file order, and the MIDI files that were written of it.

    `unread` counts the lines, and pieces of lines, that say nothing known.
    """

    started: str
    entries: tuple[Entry, ...]
    written: frozenset[tuple[int, int]]
    unread: int = 0

    @property
    def notes(self) -> bool:
        """Whether anything in it was played or sounded."""
        return any(entry.data for entry in self.entries)


def header_line(started: str) -> bytes:
    """Return the journal's first line."""
    return f"{HEADER} {started}\n".encode()


def line(entry: Entry) -> bytes:
    r"""Return an entry's line.

    >>> line(Entry(1.25, EntryKind.PLAYED, bytes((0x90, 60, 64))))
    b'p 1.250000 90 3c 40\n'
    """
    if entry.data:
        return f"{entry.kind} {entry.at_s:.6f} {entry.data.hex(' ')}\n".encode()
    text = " ".join(entry.text.split())[:MOST_TEXT]
    return f"{entry.kind} {entry.at_s:.6f} {text}\n".encode()


def written_line(data: bytes) -> bytes:
    """Return the line that tells of a MIDI file about to be written."""
    size, crc = fingerprint(data)
    return f"{_WRITTEN} {size} {crc:08x}\n".encode()


def fingerprint(data: bytes) -> tuple[int, int]:
    """Return size and CRC-32 of a file's bytes."""
    return len(data), zlib.crc32(data)


def read_journal(file: BinaryIO) -> Journal | None:
    r"""Return what stands in a journal; None where the file is none.

    A file that stops within its first line is a journal without entries.

    >>> import io
    >>> text = b"livecont take 1 2025-01-31T20:15:00\np 0.5 90 3c 40\np 0.7 80 3"
    >>> len(read_journal(io.BytesIO(text)).entries)
    1
    """
    opening = file.read(len(HEADER))
    if not HEADER.encode().startswith(opening):
        return None
    file.seek(0)
    lines = _lines(file)
    first = next(lines, "")
    entries: list[Entry] = []
    written: set[tuple[int, int]] = set()
    unread = 0
    for text in lines:
        if text.startswith(f"{_WRITTEN} "):
            prints = _read_written(text)
            written.update(prints)
            unread += not prints
        else:
            found = _read_entry(text)
            entries.extend(found)
            unread += not found
    return Journal(
        started=first.removeprefix(f"{HEADER} "),
        entries=tuple(entries),
        written=frozenset(written),
        unread=unread,
    )


def _lines(file: BinaryIO) -> Iterator[str]:
    """Yield lines; of one that is too long or has no end, an empty one for each of its pieces."""
    while raw := file.readline(MOST_LINE_BYTES):
        yield raw[:-1].decode("utf-8", errors="replace") if raw.endswith(b"\n") else ""


def _read_entry(text: str) -> tuple[Entry, ...]:
    letter, _, rest = text.partition(" ")
    moment, _, what = rest.partition(" ")
    try:
        kind, at_s = EntryKind(letter), float(moment)
        if not 0.0 <= at_s <= MOST_S:  # not-a-number too
            return ()
        if kind in (EntryKind.PLAYED, EntryKind.SOUNDED):
            return _message(at_s, kind, bytes.fromhex(what))
        if kind is EntryKind.TEMPO:
            int(what)
        elif kind is EntryKind.KEY:
            sharps, minor, _ = what.split(" ", 2)
            if not (-7 <= int(sharps) <= 7 and int(minor) in (0, 1)):
                return ()
    except ValueError:  # not a line of ours, or half of one
        return ()
    return (Entry(at_s, kind, text=what),)


def _message(at_s: float, kind: EntryKind, data: bytes) -> tuple[Entry, ...]:
    """Keep strikes, releases and pedals alone: whole messages of three bytes."""
    whole = len(data) == 3 and data[0] & 0xF0 in (0x80, 0x90, 0xB0) and max(data[1:]) < 0x80
    return (Entry(at_s, kind, data),) if whole else ()


def _read_written(text: str) -> tuple[tuple[int, int], ...]:
    try:
        _, size, crc = text.split(" ")
        return ((int(size), int(crc, 16)),)
    except ValueError:
        return ()
