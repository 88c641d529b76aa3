"""Every reader of files that nobody vouches for, with files of our own to begin from.

Conventions: a reader is given bytes and a folder of its own to write them to; what it returns is
checked to be something that the rest can go on with. It may raise `LivecontError` and nothing else.
"""

from __future__ import annotations

import io
import json
import math
import tempfile
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import mido

from livecont.book.book import Book
from livecont.book.line import of_line, to_line
from livecont.book.performance import performed
from livecont.commands.book_files import _entries, midi_of
from livecont.config import configs_folder, load_preferences
from livecont.demo import load_piece, perform, read_piece
from livecont.ear.plan import read_plan
from livecont.live.controls import Panel
from livecont.live.journal import line, read_journal, written_line
from livecont.live.take_file import Entry, EntryKind, take_file
from livecont.live.take_folder import TakeState, list_takes, repair_takes
from livecont.live.virtual_keyboard import message_of
from livecont.replay import read_list
from livecont.score.reading import read_score
from livecont.score.smf import parse_smf, read_smf
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sitting.machine import begin
from tests.book.volume import paper_entry, played_entry
from tests.score.written import MEI, SEQUENCE, attributes, bar, container, musicxml

KERN = """**kern\t**kern
*I"Spinet\t*
*clefF4\t*clefG2
*k[f#]\t*k[f#]
*M3/4\t*M3/4
=1\t=1
4GG 4G\t8.b/L
.\t16cc#/Jk
4D\t[4dd
2r\t4dd]
=2\t=2
*^\t*
2.G;\t4D\tqa
.\t2B\t2.g;
*v\t*v\t*
==\t==
*-\t*-
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """One reader: files to begin from, words that such files are made of, and the reading."""

    seeds: Callable[[], tuple[bytes, ...]]
    read: Callable[[bytes, Path], object]
    words: tuple[bytes, ...] = ()


# --- playing ------------------------------------------------------------------------------------


@cache
def _takes() -> tuple[bytes, ...]:
    events = perform(load_piece("lament"))
    entries = [Entry(0.0, EntryKind.TEMPO, text="600000"), Entry(0.0, EntryKind.KEY, text="0 1 a")]
    entries += [Entry(event.at_s, EntryKind.PLAYED, message_of(event)) for event in events]
    entries.append(Entry(1.0, EntryKind.MARK, text="take-over: link 3"))
    frames = mido.MidiFile(type=0, ticks_per_beat=480)
    frames.add_track("one").extend(
        mido.Message("note_on", note=note, velocity=64 * (n % 2 == 0), time=n % 2 * 240)
        for n, note in enumerate((60, 60, 64, 64, 62, 62, 65, 65))
    )
    raw = io.BytesIO()
    frames.save(file=raw)
    short = raw.getvalue()
    return take_file(entries[:40]), short, short.replace(b"\x01\xe0", b"\xe7\x28", 1)


def _check_events(events: Iterable[PlayerEvent]) -> None:
    last_s, down = 0.0, set()
    for event in events:
        assert math.isfinite(event.at_s)
        assert event.at_s >= last_s
        last_s = event.at_s
        if isinstance(event, KeyDown):
            assert 0 <= event.pitch <= 127
            assert 1 <= event.velocity <= 127
            down.add((event.channel, event.pitch))
        elif isinstance(event, KeyUp):
            down.discard((event.channel, event.pitch))
    assert not down


def _midi(data: bytes, folder: Path) -> object:
    path = folder / "a.mid"
    path.write_bytes(data)
    recording = read_smf(path)
    assert 0.0 <= recording.length_s <= 24 * 3600.0
    _check_events(recording.events)
    return recording


# --- scores -------------------------------------------------------------------------------------


@cache
def _musicxml() -> tuple[bytes, ...]:
    right, left = SEQUENCE
    whole = bar(f"{right}", f"{left}|2", attributes=attributes(fifths=2, meter="3/2", staves=2))
    ties = [
        bar("g:D5 C5~/1 C5/1 x/1 r/1", attributes=attributes(mode="minor", fifths=-3)),
        bar("E5+G5/1/2 F5/1/2 D#5/3", number="2", before="<direction/>"),
    ]
    return tuple(
        text.encode() for text in (musicxml({"Spinet": [whole]}), musicxml({"A": ties, "B": ties}))
    )


@cache
def _packed() -> tuple[bytes, ...]:
    return tuple(_pack(text) for text in _musicxml())


def _pack(text: bytes) -> bytes:
    raw = io.BytesIO()
    with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", container("a.xml"))
        archive.writestr("a.xml", text)
    return raw.getvalue()


def _score(data: bytes, folder: Path) -> object:
    path = folder / "a.score"
    path.write_bytes(data)
    score = read_score(path)
    for note in score.notes:
        assert note.onset_q >= 0
        assert note.duration_q >= 0
        assert -24 <= note.spelling.midi <= 151
    return score


# --- TOML ---------------------------------------------------------------------------------------

SETTINGS = """[sitting]
key = "e minor"
start = "on-pause"
limit = "7"
ending = "close"
compass = "piano-1720"
instrument = "modern-piano"
surprise = 0.25
least-confidence = 0.75
[ports]
in = "stage"
out = "internal"
thru = "auto"
[takes]
take-folder = "~/Music"
"""
COMPASSES = """[sitting]
compass = "study"
[compasses.study]
title = "my practice clavichord"
lowest = "C2"
highest = "D6"
absent = ["C#2", "D#2"]
source = "my own"
"""
CONTROLS = """[controls.instrument]
cue = ["key A0", "pedal soft"]
stop = ["pedal sostenuto"]
[controls.computer]
quit = ["q", "escape"]
cue = ["space"]
"""


def _preferences(data: bytes, folder: Path) -> object:
    path = folder / "livecont.toml"
    path.write_bytes(data)
    chosen = load_preferences(path)
    panel = Panel(chosen.controls)
    assert all(0 <= pitch <= 127 for pitch in panel.pitches)
    for compass in chosen.compasses.values():
        assert 0 <= compass.lowest <= compass.highest <= 127
    return begin(chosen.settings)


@cache
def _pieces() -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted((configs_folder() / "demo").glob("*.toml")))


def _piece(data: bytes, folder: Path) -> object:
    path = folder / "piece.toml"
    path.write_bytes(data)
    events = perform(read_piece(path))
    for event in events:
        assert math.isfinite(event.at_s)
        if isinstance(event, KeyDown | KeyUp):
            assert 0 <= event.pitch <= 127
        message_of(event)
    return events


# --- lists and takes ----------------------------------------------------------------------------


def _lists() -> tuple[bytes, ...]:
    items = [{"file": "a.mid", "key": "e minor"}, {"file": "b/c.mid"}, {"file": "d", "key": None}]
    return ("\n".join(map(json.dumps, items)).encode(), b'\xef\xbb\xbf{"file": "a"}\r\n\r\n')


def _list(data: bytes, folder: Path) -> object:
    path = folder / "list.jsonl"
    path.write_bytes(data)
    return read_list(path)


@cache
def _journals() -> tuple[bytes, ...]:
    entries = [Entry(0.5, EntryKind.TEMPO, text="500000"), Entry(1.0, EntryKind.KEY, text="0 1 a")]
    entries += [Entry(1.5 + n / 10, EntryKind.PLAYED, bytes((0x90, 60 + n, 64))) for n in range(9)]
    entries += [
        Entry(2.5, EntryKind.SOUNDED, b"\x80\x3c\x40"),
        Entry(3.0, EntryKind.MARK, text="x"),
    ]
    body = b"".join(line(entry) for entry in entries) + written_line(b"MThd")
    return (b"livecont take 1 2025-01-31T20:15:00\n" + body,)


def _journal(data: bytes, folder: Path) -> object:
    path = folder / "2025-01-31_20-15-00.take"
    path.write_bytes(data)
    journal = read_journal(io.BytesIO(data))
    listed = list_takes(folder)
    repair_takes(folder)
    if journal is None or (journal.unread and not journal.notes):
        assert [take.state for take in listed] == [TakeState.UNREADABLE]
        assert path.read_bytes() == data
        return None
    for take in list_takes(folder):
        assert take.state is TakeState.WHOLE
        _check_events(parse_smf(take.path.read_bytes()).events)
    return journal


def _take(data: bytes, folder: Path) -> object:
    (folder / "a.mid").write_bytes(data)
    return list_takes(folder)


# --- the book and lessons -----------------------------------------------------------------------


@cache
def _book_lines() -> tuple[bytes, ...]:
    lines = [to_line(entry) for entry in (played_entry(), paper_entry())]
    return ("\n".join(lines).encode(), lines[0].encode())


def _book_line(data: bytes, folder: Path) -> object:
    path = folder / "book.jsonl"
    path.write_bytes(data)
    entries = list(_entries(str(path), None))
    for entry in entries:
        assert to_line(of_line(to_line(entry))) == to_line(entry)
        for event in performed(entry):
            message_of(event)
        parse_smf(midi_of(entry))
    return entries


@cache
def _books() -> tuple[bytes, ...]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.sqlite"
        with Book(path) as book:
            book.add_all((paper_entry(), played_entry()))
        return (path.read_bytes(),)


def _book(data: bytes, folder: Path) -> object:
    path = folder / "book.sqlite"
    path.write_bytes(data)
    with Book(path) as book:
        return book.search()


@cache
def _plans() -> tuple[bytes, ...]:
    paths = sorted((configs_folder() / "lessons").glob("*.toml"))
    return tuple(path.read_bytes() for path in paths)


def _plan(data: bytes, folder: Path) -> object:
    path = folder / "lesson.toml"
    path.write_bytes(data)
    return read_plan(path)


XML_WORDS = tuple(
    word.encode()
    for word in (
        "<note>", "</note>", "<chord/>", "<grace/>", "<rest/>", "<duration>0</duration>",
        "<duration>-4</duration>", "<backup><duration>9</duration></backup>", "<forward>",
        "<octave>99</octave>", "<alter>1e9</alter>", "<divisions>0</divisions>", "nan", "inf",
        "<beats>0</beats>", "<repeat direction='backward' times='99999'/>", "<ending number='1'>",
        "<!ENTITY a 'b'>", "&#0;", "<tie type='start'/>", "<staff>7</staff>", "<time-modification>",
        "<actual-notes>0</actual-notes>", "<measure number='1'>", "dur='0'", "dots='99'",
        "<tuplet num='3' numbase='0'>", "<mRest/>", "<beam>", "copyof='#a'", "<staffDef n='3'/>",
    )
)  # fmt: skip
TOML_WORDS = tuple(
    word.encode()
    for word in (
        "nan", "inf", "-1", "1e999", "9" * 400, "0x" + "f" * 4000, "true", "[]", "{}", '""',
        "[[", "]]", "[a.b]", "'", '"""', "1979-05-27T07:32:00Z", "\\u0000", "\\u001b[2J", "key = ",
        "[compasses.a]\n", "lowest = 'C-1'", "highest = 'G9'", "notes = ''", "C4:1/0", "C4:1e99",
        "C99:1", "C4+E4+G4:1/3", "unit_beats = 0.3", "tempo_bpm = 20", "[[voice]]\n",
    )
)  # fmt: skip
MIDI_WORDS = (
    b"MThd", b"MTrk", b"\xff\x2f\x00", b"\xff\x51\x03\x00\x00\x00", b"\xff\x51\x03\xff\xff\xff",
    b"\xff\xff\xff\x7f", b"\x90\x3c\x40", b"\x80\x3c\x40", b"\xf0\x01\xf7", b"\xff\x59\x02\x07\x01",
    b"\x00\x00\x00\x06", b"\xff\xff\xff\xff", b"\xe2\x50", b"\xb0\x40\x7f",
)  # fmt: skip
KERN_WORDS = tuple(
    word.encode()
    for word in ("*^", "*v", "*x", "*+", "*-", "**kern", "=", "4c", "0c", "%c", "4.....c", "[", "]",
                 "\t", "\n", "q", "*k[f#]", "*M0/4", "*M4/0", "*tb8", "3%2c", "r", "-", "#####")
)  # fmt: skip
JOURNAL_WORDS = (
    b"\np 1.5 90 3c 40\n", b"\nk 1 0 1 a\n", b"\nk 2 9 9 x\n", b"\nt 1 0\n", b"\nt 1 -5\n", b"nan",
    b"\nt 2 99999999999999999999\n", b"\nm 1 " + b"x" * 600 + b"\n", b"1e300", b"\n= 4 ff\n",
    b"-0.0", b"\nl 5 b0 40 7f\n", b"inf", b"\nk 1 0 0 \xff\xfe\n", b"\xed\xa0\x80",
)  # fmt: skip
LIST_WORDS = (
    b'{"file": "\\u0000"}', b'{"file": "' + b"a" * 5000 + b'"}', b"[" * 2000, b'"key": "c"',
    b"NaN", b"\n", b'{"file": "..", "key": "H moll"}', b'"\\ud800"', b"1" * 5000,
)  # fmt: skip

BOOK_WORDS = (
    b"null", b"true", b"-1", b"1e308", b"NaN", b"[]", b"{}", b'"1/0"', b'"9999/1"', b'"C####4"',
    b'"\\u0000"', b'"\\ud800"', b"9" * 5000, b'"a": 1,', b'"number": 1,', b'"2026-13-45"',
)  # fmt: skip

READERS: dict[str, Reader] = {
    "midi": Reader(seeds=_takes, read=_midi, words=MIDI_WORDS),
    # the third counts frames: no score
    "midi-score": Reader(seeds=lambda: _takes()[:2], read=_score, words=MIDI_WORDS),
    "musicxml": Reader(seeds=_musicxml, read=_score, words=XML_WORDS),
    "musicxml-packed": Reader(seeds=_packed, read=_score),
    "musicxml-in-archive": Reader(
        seeds=_musicxml, read=lambda data, folder: _score(_pack(data), folder), words=XML_WORDS
    ),
    "kern": Reader(seeds=lambda: (KERN.encode(),), read=_score, words=KERN_WORDS),
    "mei": Reader(seeds=lambda: (MEI.encode(),), read=_score, words=XML_WORDS),
    "settings": Reader(seeds=lambda: (SETTINGS.encode(),), read=_preferences, words=TOML_WORDS),
    "compasses": Reader(seeds=lambda: (COMPASSES.encode(),), read=_preferences, words=TOML_WORDS),
    "controls": Reader(seeds=lambda: (CONTROLS.encode(),), read=_preferences, words=TOML_WORDS),
    "pieces": Reader(seeds=_pieces, read=_piece, words=TOML_WORDS),
    "lessons": Reader(seeds=_plans, read=_plan, words=TOML_WORDS),
    "book-lines": Reader(seeds=_book_lines, read=_book_line, words=BOOK_WORDS),
    "books": Reader(seeds=_books, read=_book),
    "lists": Reader(seeds=_lists, read=_list, words=LIST_WORDS),
    "journals": Reader(seeds=_journals, read=_journal, words=JOURNAL_WORDS),
    "takes": Reader(seeds=_takes, read=_take, words=MIDI_WORDS),
}
