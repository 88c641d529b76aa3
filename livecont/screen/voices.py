"""A link's notes set in columns: what begins together stands together, in an upper and lower line.

Conventions: a column is a moment of the link at which notes begin, in units from its start; chord
notes that a hand spreads count as one moment. `upper` is the highest note of the right-hand side,
`lower` the lowest of the left, `inner` whatever lies between, low to high. Where one line is all
there is, it is the upper one. This is for reading, not for analysis: no harmony is decided here.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import attrgetter
from typing import NamedTuple

from livecont.music.pitch import Spelling
from livecont.screen.once import once_each
from livecont.sequence.pattern import Link, Pattern

# a hand spreads a chord by 20-40 ms (design, section 4); the shortest notes lie further apart
SPREAD_S = 0.05
# a gap of this many semitones between neighbouring pitches parts the hands of a polyphonic link;
# a single line leaps further before it reads as two
_HANDS_GAP = 5
_LINES_GAP = 10


class Placed(NamedTuple):
    """A note at a moment of the link."""

    offset_units: float
    pitch: int
    spelling: Spelling


class Span(NamedTuple):
    """The outer pitches of a link."""

    lowest: int
    highest: int


def span_of(pitches: Iterable[int]) -> Span | None:
    """Return the outermost of some pitches; None of none."""
    known = list(pitches)
    return Span(min(known), max(known)) if known else None


@once_each
def link_span(link: Link) -> Span | None:
    """Return a link's outer pitches; None for a link without notes."""
    return span_of(note.pitch for note in link.notes)


class Column(NamedTuple):
    """What begins at one moment."""

    upper: Spelling | None
    inner: tuple[Spelling, ...]
    lower: Spelling | None


NOTHING = Column(None, (), None)


@dataclass(frozen=True, slots=True)
class Verse:
    """A link as it is set: one column for each of the pattern's moments."""

    number: int
    columns: tuple[Column, ...]

    @property
    def has_inner(self) -> bool:
        """Whether any note lies between the outer ones."""
        return any(column.inner for column in self.columns)

    @property
    def has_lower(self) -> bool:
        """Whether there is a lower line at all."""
        return any(column.lower is not None for column in self.columns)


@once_each
def moments(pattern: Pattern) -> tuple[float, ...]:
    """Return when notes begin in one link, in units, each spread chord once."""
    spread = SPREAD_S / pattern.unit_s if pattern.unit_s > 0 else 0.0
    found: list[float] = []
    for offset in sorted(position.offset_units for position in pattern.positions):
        if not found or offset - found[-1] > spread:
            found.append(offset)
    return tuple(found)


@once_each
def heard_verses(pattern: Pattern) -> tuple[Verse, ...]:
    """Return the links that the player played, as far back as the pattern holds them."""
    count = max((len(position.heard) for position in pattern.positions), default=0)
    first = max(1, pattern.links_heard - count + 1)
    verses = []
    for k in range(count):
        notes = [
            Placed(position.offset_units, spelling.midi, spelling)
            for position in pattern.positions
            if k < len(position.heard) and (spelling := position.heard[k]) is not None
        ]
        verses.append(Verse(first + k, _columns(notes, moments(pattern))))
    return tuple(verses)


@once_each
def link_verse(link: Link, starts: tuple[float, ...]) -> Verse:
    """Return a link that livecont sounds or would sound, in the columns of its pattern."""
    unit_s = link.unit_s if link.unit_s > 0 else 1.0
    notes = [Placed(note.offset_s / unit_s, note.pitch, note.spelling) for note in link.notes]
    return Verse(link.number, _columns(notes, starts))


def _columns(notes: Sequence[Placed], starts: Sequence[float]) -> tuple[Column, ...]:
    if not starts:
        return ()
    groups: list[list[Placed]] = [[] for _ in starts]
    for note in notes:
        groups[_nearest(starts, note.offset_units)].append(note)
    for group in groups:
        group.sort(key=_pitch)
    if all(len(group) != 1 for group in groups):
        # chords throughout, or main notes: each has its own top and bottom
        return tuple(_chord(group) for group in groups)
    border = _border(groups)
    return tuple(_column(group, border) for group in groups)


_pitch = attrgetter("pitch")


def _nearest(starts: Sequence[float], offset: float) -> int:
    after = bisect_right(starts, offset)
    if after == 0:
        return 0
    if after < len(starts) and starts[after] - offset < offset - starts[after - 1]:
        return after
    return after - 1


def _column(group: Sequence[Placed], border: float) -> Column:
    if not group:
        return NOTHING
    low = [note.spelling for note in group if note.pitch < border]
    high = [note.spelling for note in group[len(low) :]]
    return Column(
        high[-1] if high else None,
        (*low[1:], *high[:-1]),
        low[0] if low else None,
    )


def _chord(group: Sequence[Placed]) -> Column:
    spelled = [note.spelling for note in group]
    return Column(spelled[-1], tuple(spelled[1:-1]), spelled[0]) if spelled else NOTHING


def _border(groups: Sequence[Sequence[Placed]]) -> float:
    """Return the pitch that parts the two lines; minus infinity where there is one."""
    pitches = sorted({note.pitch for group in groups for note in group})
    chords = [group for group in groups if len(group) > 1]
    if len(pitches) > 1:
        gap, middle = max(
            (above - below, (above + below) / 2) for below, above in pairwise(pitches)
        )
        if gap >= (_HANDS_GAP if chords else _LINES_GAP):
            return middle
    if not chords:
        return float("-inf")
    tops = sum(group[-1].pitch for group in chords)
    bottoms = sum(group[0].pitch for group in chords)
    return (tops + bottoms) / (2 * len(chords))
