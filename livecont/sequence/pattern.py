"""What was understood: the pattern of a sequence, and the links that follow from it.

Conventions: offsets and lengths of positions are in units (1.0 = one link) from the link's start;
`step_degrees` counts diatonic places, down is negative; pitches are spelled (`music.pitch`).
Links are numbered from 1, the model. These are values; `sequence.listener` makes patterns,
`sequence.chain` makes links of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from livecont.music.key import Key
from livecont.music.pitch import Spelling


class Kind(StrEnum):
    """How the step is counted."""

    TONAL = "tonal"  # in degrees of the key
    REAL = "real"  # in semitones
    MIXED = "mixed"  # part of the link each


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """One note of the link, as the links heard tell it together.

    `heard` holds its spelling in each link heard, oldest first, None where it was not played.
    `articulation` is the sounding share of a link: key down to key up, in units.
    """

    offset_units: float
    articulation: float
    velocity: int
    channel: int
    heard: tuple[Spelling | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PedalMark:
    """A move of a pedal inside the link."""

    offset_units: float
    controller: int
    value: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """A sequence that was understood.

    `starts_s` are the starts of the links heard, oldest first; `due_s` is when the next link's
    first note is due. `shift_semitones` is the step in semitones where it is the same for every
    note, else None. `before` are the pitches heard before the first of these links, oldest first:
    the accidentals in force. `confidence` estimates the probability that a musician would agree.
    """

    unit_s: float
    step_degrees: int
    shift_semitones: int | None
    kind: Kind
    key: Key
    positions: tuple[Position, ...]
    pedals: tuple[PedalMark, ...]
    starts_s: tuple[float, ...]
    due_s: float
    confidence: float
    links_heard: int
    before: tuple[Spelling, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkNote:
    """A note of a coming link; `offset_s` counts from the link's start."""

    offset_s: float
    duration_s: float
    spelling: Spelling
    velocity: int
    channel: int

    @property
    def pitch(self) -> int:
        """MIDI note number."""
        return self.spelling.midi


class Role(StrEnum):
    """What a link is to the chain."""

    CHAIN = "chain"  # the next one by the step
    FOLDED = "folded"  # the next one by the step, an octave or more away
    TURNED = "turned"  # on the way back
    CADENCE = "cadence"  # outside the chain, towards the end and at it


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One link of the chain, ready to sound; `number` counts from the model, which is 1.

    `clarity` is how well the ear follows it, 0..1, where that was asked for. `changed` says in
    words what was done to it on purpose, against the pattern.
    """

    number: int
    unit_s: float
    notes: tuple[LinkNote, ...]
    pedals: tuple[PedalMark, ...]
    clarity: float | None = None
    role: Role = Role.CHAIN
    changed: str | None = None

    @property
    def lowest(self) -> int:
        """The lowest MIDI pitch."""
        return min(note.pitch for note in self.notes)

    @property
    def highest(self) -> int:
        """The highest MIDI pitch."""
        return max(note.pitch for note in self.notes)
