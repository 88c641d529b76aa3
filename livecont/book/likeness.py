"""Which entries are the same sequence, somewhere else.

A link is taken as the ring that it is: chord after chord, and then the first chord again, a step
away. Its figure is what each chord has above its lowest note, in places of the staff, and how many
places there are to the next chord's lowest; the ring is read from where that reads first, so that
it does not matter where a link was thought to begin, nor in which key it is, nor on which degree.

Conventions: intervals in places of the staff, octaves counted; times in units.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from livecont.book.entry import BookNote, Entry

# a chord's notes as played lie so near, half of the spread being kept; from memory, as the
# listener groups them
CHORD_S = 0.03
CHORD_UNITS = 0.02
SAME_UNITS = 1e-6  # on paper they begin at once
RHYTHM_UNITS = 0.06  # how far apart the onsets of one rhythm may lie, played and on paper


class Likeness(StrEnum):
    """How two entries with one figure differ."""

    SAME = "the same notes"
    MOVED = "the same, moved exactly"
    CHANGED = "the same figure on other degrees, or in another mode"


@dataclass(frozen=True, slots=True)
class _Chord:
    at_units: float
    notes: tuple[BookNote, ...]

    @property
    def lowest(self) -> int:
        return self.notes[0].spelling.staff

    @property
    def shape(self) -> tuple[int, ...]:
        return tuple(note.spelling.staff - self.lowest for note in self.notes)


def figure_of(entry: Entry) -> str:
    """Return a text that is the same for the same sequence moved elsewhere."""
    ring = _ring(entry)
    turned = _turned(ring, _first(ring))
    return json.dumps([entry.step_degrees, turned], separators=(",", ":"))


def likeness(one: Entry, other: Entry) -> Likeness | None:
    """Return how alike two entries are; None where they are not the same sequence."""
    return None if figure_of(one) != figure_of(other) else likeness_in_figure(one, other)


def likeness_in_figure(one: Entry, other: Entry) -> Likeness | None:
    """Return how alike two entries of one figure are; None where their rhythm differs."""
    found = [_compared(first, second) for first, second in _laid_together(one, other)]
    alike = [kind for kind in Likeness if kind in found]
    return alike[0] if alike else None


def _compared(first: Sequence[_Chord], second: Sequence[_Chord]) -> Likeness | None:
    if not _one_rhythm(first, second):
        return None
    shifts = {
        b.spelling.midi - a.spelling.midi
        for x, y in zip(first, second, strict=True)
        for a, b in zip(x.notes, y.notes, strict=True)
    }
    if len(shifts) != 1:
        return Likeness.CHANGED
    return Likeness.SAME if shifts == {0} else Likeness.MOVED


def _chords(entry: Entry, link: int) -> list[_Chord]:
    """A link, chord by chord."""
    near = SAME_UNITS if entry.unit_q is not None else max(CHORD_UNITS, CHORD_S / entry.unit_s)
    notes = sorted(
        (note for note in entry.notes if note.link == link),
        key=lambda note: note.onset_units,
    )
    groups: list[list[BookNote]] = []
    for note in notes:
        if groups and float(note.onset_units - groups[-1][0].onset_units) < near:
            groups[-1].append(note)
        else:
            groups.append([note])
    return [
        _Chord(
            float(group[0].onset_units),
            tuple(sorted(group, key=lambda note: (note.spelling.staff, note.spelling.alter))),
        )
        for group in groups
    ]


_Ring = list[tuple[tuple[int, ...], int]]


def _ring(entry: Entry) -> _Ring:
    chords = _chords(entry, entry.links)
    lowest = [chord.lowest for chord in chords]
    following = [*lowest[1:], lowest[0] + entry.step_degrees] if lowest else []
    return [
        (chord.shape, after - chord.lowest) for chord, after in zip(chords, following, strict=True)
    ]


def _first(ring: _Ring) -> int:
    """Where a ring is read from: where that comes first of all ways to read it."""
    return min(range(len(ring)), key=lambda start: _turned(ring, start), default=0)


def _turned(ring: _Ring, start: int) -> _Ring:
    return ring[start:] + ring[:start]


def _laid_together(one: Entry, other: Entry) -> Iterator[tuple[list[_Chord], list[_Chord]]]:
    """Yield what two entries have in common where their rings lie one upon the other.

    The last two links of each are compared, chord by chord; where the links of one begin in the
    middle of the other's, that is the end of one and the beginning of the other, both ways round.
    """
    first, second = _last_two(one), _last_two(other)
    ring, other_ring = _ring(one), _ring(other)
    length = len(ring)
    least = _turned(ring, _first(ring))
    begins = _first(ring)
    for start in range(length):  # several only where a ring repeats itself inside
        if _turned(other_ring, start) != least:
            continue
        ahead = (begins - start) % length
        for lag in (ahead, ahead - length) if ahead else (0,):
            here, there = first[max(0, lag) :], second[max(0, -lag) :]
            common = min(len(here), len(there))
            yield here[:common], there[:common]


def _last_two(entry: Entry) -> list[_Chord]:
    """The chords of the last two links; the last one's twice, where the other has other chords."""
    earlier, later = _chords(entry, entry.links - 1), _chords(entry, entry.links)
    alike = [chord.shape for chord in earlier] == [chord.shape for chord in later]
    return (earlier if alike else later) + later


def _one_rhythm(first: Sequence[_Chord], second: Sequence[_Chord]) -> bool:
    def times(chords: Sequence[_Chord]) -> list[float]:
        return [(chord.at_units - chords[0].at_units) % 1.0 for chord in chords]

    return all(
        min(abs(a - b), 1 - abs(a - b)) <= RHYTHM_UNITS
        for a, b in zip(times(first), times(second), strict=True)
    )
