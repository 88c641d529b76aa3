"""A piece as it is printed: notes, bars, metre and key, as values.

Conventions: `*_q` are quarters from the start of the first printed bar, exact (`Fraction`), bars in
the order printed, repeats not unfolded, first and second endings one after the other. Parts, and
bars as indices, are numbered from 0; staves and voices from 1, as printed. A tied note is one note.
Pitches are as they sound. Reading files is done elsewhere (`score.reading`).
"""

from __future__ import annotations

import bisect
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from livecont.errors import ScoreError
from livecont.music.pitch import Spelling


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreNote:
    """A note; a grace note has no duration."""

    onset_q: Fraction
    duration_q: Fraction
    spelling: Spelling
    part: int = 0
    staff: int = 1
    voice: int = 1
    grace: bool = False

    @property
    def end_q(self) -> Fraction:
        """When it ends."""
        return self.onset_q + self.duration_q


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """An instrument's part, on one staff or more; no two parts of a score have one name."""

    name: str
    staves: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A printed bar; `number` is what is printed and may recur.

    A `pickup` is an unfinished bar that ends where a full one would: the upbeat of the piece, or
    what follows a repeat sign in the middle of a bar.
    """

    number: str
    start_q: Fraction
    length_q: Fraction
    pickup: bool = False

    @property
    def end_q(self) -> Fraction:
        """Where the next bar starts."""
        return self.start_q + self.length_q


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A metre from `at_q` on, such as 6/8."""

    at_q: Fraction
    beats: int
    beat_type: int

    @property
    def beat_q(self) -> Fraction:
        """Length of what the lower number counts."""
        return Fraction(4, self.beat_type)

    @property
    def bar_q(self) -> Fraction:
        """Length of a full bar."""
        return self.beats * self.beat_q


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A key signature from `at_q` on: sharps positive; the mode where the file tells it."""

    at_q: Fraction
    fifths: int
    mode: str | None = None


_Change = TypeVar("_Change", Meter, Signature)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """From a place to a place: a repeat, an ending (`text` is then what its bracket says)."""

    start_q: Fraction
    end_q: Fraction
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Words at a place, above the first staff of a part or below the last."""

    at_q: Fraction
    text: str
    part: int = 0
    below: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place as a musician names it: bar as printed; beat 1 is the bar's first.

    Beats are counted in what the metre's lower number names. In a pickup they are counted so that
    the bar's end is right.
    """

    bar: str
    beat: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """A piece. Notes by onset, then part, staff, voice and pitch; the rest in order of time."""

    parts: tuple[Part, ...]
    notes: tuple[ScoreNote, ...]
    bars: tuple[Bar, ...]
    meters: tuple[Meter, ...] = ()
    signatures: tuple[Signature, ...] = ()
    repeats: tuple[Stretch, ...] = ()
    endings: tuple[Stretch, ...] = ()
    marks: tuple[Mark, ...] = ()
    spelled: bool = True  # False where the file had MIDI numbers and the engine spelled them

    @property
    def length_q(self) -> Fraction:
        """Where the last bar ends."""
        return self.bars[-1].end_q if self.bars else Fraction(0)

    def bar_index(self, at_q: Fraction) -> int:
        """Return the bar that holds a place; the first or the last where none does."""
        return max(0, bisect.bisect_right(self.bars, at_q, key=lambda bar: bar.start_q) - 1)

    def meter_at(self, at_q: Fraction) -> Meter:
        """Return the metre in force; 4/4 where the file names none."""
        return _in_force(self.meters, at_q) or Meter(at_q=Fraction(0), beats=4, beat_type=4)

    def signature_at(self, at_q: Fraction) -> Signature | None:
        """Return the key signature in force, None where the file has none."""
        return _in_force(self.signatures, at_q)

    def place(self, at_q: Fraction) -> Place:
        """Return bar and beat of a place."""
        if not self.bars:
            return Place(bar="1", beat=at_q + 1)
        bar = self.bars[self.bar_index(at_q)]
        meter = self.meter_at(bar.start_q)
        missing_q = meter.bar_q - bar.length_q if bar.pickup else Fraction(0)
        return Place(bar=bar.number, beat=(at_q - bar.start_q + missing_q) / meter.beat_q + 1)

    def bars_span(self, first: str, last: str) -> tuple[Fraction, Fraction]:
        """Return start and end of the bars printed as `first` to `last`, both included.

        Where a number recurs, the first bar of that number begins, and of the bars that bear
        `last` after it, the first unbroken row ends.

        Raises:
            ScoreError: no such bars, or none of them after the other.
        """
        begin = self._bar_numbered(first, 0)
        end = self._bar_numbered(last, begin)
        while end + 1 < len(self.bars) and self.bars[end + 1].number == last:
            end += 1
        return self.bars[begin].start_q, self.bars[end].end_q

    def _bar_numbered(self, number: str, after: int) -> int:
        for index in range(after, len(self.bars)):
            if self.bars[index].number == number:
                return index
        if any(bar.number == number for bar in self.bars):
            raise ScoreError(f"bar {number} comes before bar {self.bars[after].number}")
        known = f"{self.bars[0].number} to {self.bars[-1].number}" if self.bars else "none"
        raise ScoreError(f"there is no bar {number}: the bars are {known}")

    def within(self, start_q: Fraction, end_q: Fraction) -> Iterator[ScoreNote]:
        """Yield the notes that begin in [start_q, end_q)."""
        for index in range(self._first_from(start_q), len(self.notes)):
            note = self.notes[index]
            if note.onset_q >= end_q:
                return
            yield note

    def _first_from(self, at_q: Fraction) -> int:
        return bisect.bisect_left(self.notes, at_q, key=lambda note: note.onset_q)


def _in_force(changes: tuple[_Change, ...], at_q: Fraction) -> _Change | None:
    """Return the last change up to a place; the first where all come later."""
    at = bisect.bisect_right(changes, at_q, key=lambda change: change.at_q)
    return changes[max(0, at - 1)] if changes else None
