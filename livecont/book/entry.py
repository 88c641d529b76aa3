"""An entry of the book: the links that were heard or read, and what the player says of them.

Conventions: `onset_units` and `length_units` are exact fractions of a link, onsets from their own
link's start; what was played is kept to a millionth of a link. Links are numbered from 1, the
model. `place` numbers the positions of the pattern: notes of different links with one place are
each other's image; it is None for notes of links before the last two. A link lasts `unit_s` seconds
as played, on paper as at 120 in the minute; `unit_q` is its length in quarters, known on paper
only. Moments of creation are in UTC. Parts are numbered from 0, staves and voices from 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from livecont.errors import BookError
from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.pattern import Kind, PedalMark

MOST_LINKS = 64
MOST_NOTES = 5_000
MOST_MARKS = 2_000
MOST_BEFORE = 256
MOST_TAGS = 50
LONGEST_WORD = 100  # a tag, a label, bars
LONGEST_LINE = 500  # a title, a source
LONGEST_TEXT = 20_000  # the player's notes
LONGEST_UNIT_S = 600.0
LONGEST_UNIT_Q = 256
MOST_PLACES = 56  # of a step: eight octaves
FINEST = 1_000_000_000  # denominators beyond this are nobody's rhythm


@dataclass(frozen=True, slots=True, kw_only=True)
class BookNote:
    """A note of one of the links."""

    link: int
    place: int | None
    onset_units: Fraction
    length_units: Fraction
    spelling: Spelling
    velocity: int
    channel: int = 0
    part: int = 0
    staff: int = 1
    voice: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """How a passage stands on paper: its metre, and where in a bar it starts, in quarters."""

    beats: int
    beat_type: int
    start_in_bar_q: Fraction
    fifths: int  # the key signature: sharps positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A sequence kept in the book.

    `number` is None until the book gives it one. `source` says where it is from, `bars` which bars
    of it, as printed. `remarks` are the player's own notes; `label` the harmonic label, or None.
    """

    unit_s: float
    step_degrees: int
    shift_semitones: int | None
    kind: Kind
    key: Key
    links: int
    notes: tuple[BookNote, ...]
    created: datetime
    unit_q: Fraction | None = None
    pedals: tuple[PedalMark, ...] = ()
    before: tuple[Spelling, ...] = ()
    printed: Printed | None = None
    confidence: float = 1.0
    label: str | None = None
    title: str = ""
    source: str = ""
    bars: str = ""
    remarks: str = ""
    tags: tuple[str, ...] = ()
    starred: bool = False
    number: int | None = None

    @property
    def name(self) -> str:
        """What it is called in a list: its title, else its source, else what it is."""
        return self.title or self.source or f"a sequence in {self.key.name}"


def checked(entry: Entry) -> Entry:
    """Return the entry where everything in it is within bounds.

    Raises:
        BookError: naming the first thing that is not.
    """
    for what, text, most in (
        ("title", entry.title, LONGEST_LINE),
        ("source", entry.source, LONGEST_LINE),
        ("bars", entry.bars, LONGEST_WORD),
        ("label", entry.label or "", LONGEST_WORD),
        ("note of one's own", entry.remarks, LONGEST_TEXT),
    ):
        check_text(what, text, most)
    for tag in entry.tags:
        check_tag(tag)
    _within("number of links", entry.links, 2, MOST_LINKS)
    _within("step", abs(entry.step_degrees), 0, MOST_PLACES)
    _within("step in semitones", abs(entry.shift_semitones or 0), 0, 127)
    _within("length of a link in seconds", entry.unit_s, 0.01, LONGEST_UNIT_S)
    if entry.unit_q is not None:
        _within("length of a link in quarters", entry.unit_q, Fraction(1, 64), LONGEST_UNIT_Q)
    _within("number of tags", len(entry.tags), 0, MOST_TAGS)
    _within("number of pedal marks", len(entry.pedals), 0, MOST_MARKS)
    _within("number of pitches before", len(entry.before), 0, MOST_BEFORE)
    _within("number of notes", len(entry.notes), 2, MOST_NOTES)
    _within("confidence", entry.confidence, 0, 1)
    for pitch in entry.before:
        _within("pitch", pitch.midi, 0, 127)
    for mark in entry.pedals:
        _within("pedal mark's place", mark.offset_units, -1, 2)
        _within("pedal mark's controller", mark.controller, 64, 67)
        _within("pedal mark's value", mark.value, 0, 127)
    if entry.printed is not None:
        _check_printed(entry.printed)
    for note in entry.notes:
        _check_note(note, entry.links)
    _check_places(entry)
    if entry.created.tzinfo is None:
        raise BookError("an entry's moment of creation needs a time zone")
    return entry


def check_text(what: str, text: str, most: int) -> None:
    """Check a text's length, and that it can be shown: no control signs but line breaks.

    Raises:
        BookError: it is too long, or has such signs.
    """
    if len(text) > most:
        raise BookError(f"the {what} has {len(text)} signs: {most} is the most")
    if any(
        (ord(sign) < 32 and sign not in "\n\t") or 0xD800 <= ord(sign) < 0xE000 for sign in text
    ):
        raise BookError(f"the {what} has control signs in it")


def check_tag(tag: str) -> None:
    """Check that a tag is one.

    Raises:
        BookError: it is empty, too long, or has control signs.
    """
    if not tag.strip():
        raise BookError("a tag needs letters")
    check_text("tag", tag, LONGEST_WORD)


def _within(what: str, value: float | Fraction, least: float | Fraction, most: float) -> None:
    if not least <= value <= most:
        raise BookError(f"the {what} is {value}: {least} to {most} is possible")


def _check_printed(printed: Printed) -> None:
    _within("number of beats in a bar", printed.beats, 1, 64)
    if printed.beat_type not in (1, 2, 4, 8, 16, 32, 64):
        raise BookError(f"the metre's lower number is {printed.beat_type}: no note value")
    _within("start in the bar", printed.start_in_bar_q, 0, LONGEST_UNIT_Q)
    _within("key signature", printed.fifths, -7, 7)


def _check_note(note: BookNote, links: int) -> None:
    _within("note's link", note.link, 1, links)
    _within("note's place", note.place or 0, 0, MOST_NOTES)
    _within("note's onset", float(note.onset_units), -1, 2)
    _within("note's length", float(note.length_units), 0, MOST_LINKS)
    if max(note.onset_units.denominator, note.length_units.denominator) > FINEST:
        raise BookError("a note's onset or length is finer than any rhythm")
    _within("accidental", abs(note.spelling.alter), 0, 3)
    _within("pitch", note.spelling.midi, 0, 127)
    _within("velocity", note.velocity, 1, 127)
    _within("channel", note.channel, 0, 15)
    _within("part", note.part, 0, 255)
    _within("staff", note.staff, 1, 16)
    _within("voice", note.voice, 1, 64)


def _check_places(entry: Entry) -> None:
    """The last two links tell the pattern: every note there has a place, no place two notes."""
    seen: set[tuple[int, int]] = set()
    for note in entry.notes:
        if note.link < entry.links - 1:
            continue
        if note.place is None:
            raise BookError(f"a note of link {note.link} has no place in the pattern")
        if (note.link, note.place) in seen:
            raise BookError(f"two notes of link {note.link} have the place {note.place}")
        seen.add((note.link, note.place))
    for link in (entry.links - 1, entry.links):
        if not any(number == link for number, _ in seen):
            raise BookError(f"link {link} has no notes")
