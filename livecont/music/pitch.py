"""Spelled pitches.

Conventions: `staff` counts diatonic places (C0 = 0, D0 = 1, ... C4 = 28), down is negative;
`alter` is the accidental in semitones; MIDI numbers follow the MIDI 1.0 specification with
middle C = 60, named C4 as in scientific pitch notation. Nothing here knows a key.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

LETTERS = "CDEFGAB"
LETTER_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
# places on the line of fifths, C = 0, G = 1, F = -1
LETTER_FIFTHS = (0, 2, 4, -1, 1, 3, 5)

_NAME = re.compile(r"([A-Ga-g])(#{1,3}|b{1,3}|)(-?\d+)")


@dataclass(frozen=True, slots=True, order=True)
class Spelling:
    """A pitch as a musician writes it: a place on the staff and an accidental.

    >>> Spelling(staff=28, alter=1).name, Spelling(staff=28, alter=1).midi
    ('C#4', 61)
    """

    staff: int
    alter: int

    @property
    def letter(self) -> int:
        """Index of the letter, C = 0 ... B = 6."""
        return self.staff % 7

    @property
    def octave(self) -> int:
        """Octave in scientific pitch notation."""
        return self.staff // 7

    @property
    def midi(self) -> int:
        """MIDI note number; may lie outside 0..127 for spellings beyond the keyboard."""
        return 12 * (self.octave + 1) + LETTER_SEMITONES[self.letter] + self.alter

    @property
    def fifths(self) -> int:
        """Place on the line of fifths, C = 0, G = 1, F = -1."""
        return LETTER_FIFTHS[self.letter] + 7 * self.alter

    @property
    def letter_name(self) -> str:
        """Name without the octave, such as F#."""
        return LETTERS[self.letter] + accidental(self.alter)

    @property
    def name(self) -> str:
        """Name with the octave, such as F#4."""
        return f"{self.letter_name}{self.octave}"


def accidental(alter: int) -> str:
    """Return the ASCII sign for an alteration: '#' for each sharp, 'b' for each flat."""
    return "#" * alter if alter >= 0 else "b" * -alter


def spelling(name: str) -> Spelling:
    """Read a name such as 'F#4', 'Bb3' or 'c5'.

    Raises:
        ValueError: where the name is none.

    >>> spelling("Eb4").midi
    63
    """
    match = _NAME.fullmatch(name)
    if match is None:
        raise ValueError(f"not a pitch name: {name!r}")
    letter, sign, octave = match.groups()
    staff = 7 * int(octave) + LETTERS.index(letter.upper())
    return Spelling(staff, len(sign) if sign.startswith("#") else -len(sign))


def spell_at(midi: int, staff: int) -> Spelling:
    """Return the spelling of a MIDI number at a given place of the staff.

    >>> spell_at(66, 31).name
    'F#4'
    """
    return Spelling(staff, midi - Spelling(staff, 0).midi)
