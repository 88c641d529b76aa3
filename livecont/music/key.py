"""Keys: tonic and mode, the degrees of a pitch in a key, and spelling against it.

Conventions: degrees count from 0 (tonic) to 6; `staff` and `alter` as in `music.pitch`. Modes are
the church modes of common practice, `major` = ionian and `minor` = aeolian. In minor the raised
6th and 7th are alterations of their degrees, as in a key signature.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from livecont.errors import ConfigError, unknown
from livecont.music.pitch import (
    LETTER_FIFTHS,
    LETTER_SEMITONES,
    LETTERS,
    Spelling,
    accidental,
    spell_at,
)

# how many fifths a mode's signature lies from that of the major key on the same tonic
MODE_FIFTHS = {
    "lydian": 1,
    "major": 0,
    "mixolydian": -1,
    "dorian": -2,
    "minor": -3,
    "phrygian": -4,
    "locrian": -5,
}
ALIASES = {"ionian": "major", "aeolian": "minor", "maj": "major", "min": "minor", "m": "minor"}
# signatures of more than seven sharps or flats are not in use
MOST_FIFTHS = 7

_KEY = re.compile(r"\s*([A-Ga-g])\s*(#|b|♯|♭|-?sharp|-?flat|)[\s-]*([A-Za-z]*)\s*", re.IGNORECASE)
_SIGNS = {"": 0, "#": 1, "♯": 1, "sharp": 1, "b": -1, "♭": -1, "flat": -1}


@dataclass(frozen=True, slots=True)
class Key:
    """A tonic and a mode.

    >>> Key(letter=2, alter=0, mode="minor").name
    'e minor'
    """

    letter: int  # of the tonic, C = 0 ... B = 6
    alter: int
    mode: str

    @property
    def tonic(self) -> str:
        """The tonic's name, such as Bb."""
        return LETTERS[self.letter] + accidental(self.alter)

    @property
    def name(self) -> str:
        """The key's name, minor-like modes with a small letter as usual: 'e minor', 'Bb major'."""
        minor_third = MODE_FIFTHS[self.mode] <= MODE_FIFTHS["dorian"]
        tonic = self.tonic[0].lower() + self.tonic[1:] if minor_third else self.tonic
        return f"{tonic} {self.mode}"

    @property
    def fifths(self) -> int:
        """The key signature: sharps positive, flats negative."""
        return LETTER_FIFTHS[self.letter] + 7 * self.alter + MODE_FIFTHS[self.mode]

    @property
    def minor(self) -> bool:
        """Whether the mode is minor, the one whose 6th and 7th are raised by custom."""
        return self.mode == "minor"

    @property
    def tonic_pitch_class(self) -> int:
        """Pitch class of the tonic, C = 0."""
        return (LETTER_SEMITONES[self.letter] + self.alter) % 12

    def degree(self, staff: int) -> int:
        """Return the degree (0..6) of a place on the staff."""
        return (staff - self.letter) % 7

    def signature_alter(self, staff: int) -> int:
        """Return the accidental that the key signature gives to a place on the staff."""
        return _signature(self.fifths)[staff % 7]

    def natural(self, staff: int) -> Spelling:
        """Return the pitch of the scale at a place on the staff."""
        return Spelling(staff, self.signature_alter(staff))

    def spell(self, midi: int) -> Spelling:
        """Return the usual spelling of a MIDI number in this key.

        Twelve neighbours on the line of fifths, from the lowered third above the major tonic's
        relatives to the raised seventh of the minor (common practice): in C major and a minor
        Eb-Bb ... C#-G#, in a minor with D# for Eb.

        >>> parse_key("a minor").spell(68).name, parse_key("f minor").spell(68).name
        ('G#4', 'Ab4')
        """
        return _spell(self, midi)

    def spellings(self, midi: int) -> tuple[Spelling, ...]:
        """Return every spelling with at most one sharp or flat against the signature, usual first.

        >>> [s.name for s in parse_key("C major").spellings(66)]
        ['F#4', 'Gb4']
        """
        return _spellings(self, midi)


@lru_cache(maxsize=64)
def _signature(fifths: int) -> tuple[int, ...]:
    """Accidental of each letter under a signature; letter with fifths f is altered in turn."""
    return tuple((fifths - f + 5) // 7 for f in LETTER_FIFTHS)


@lru_cache(maxsize=4096)
def _spell(key: Key, midi: int) -> Spelling:
    lowest = key.fifths - (2 if MODE_FIFTHS[key.mode] <= MODE_FIFTHS["dorian"] else 3)
    for candidate in _around(midi):
        if lowest <= candidate.fifths < lowest + 12:
            return candidate
    raise AssertionError("twelve neighbours on the line of fifths hold every pitch class")


@lru_cache(maxsize=4096)
def _spellings(key: Key, midi: int) -> tuple[Spelling, ...]:
    usual = _spell(key, midi)
    if usual.alter == key.signature_alter(usual.staff):
        return (usual,)
    rest = (
        s for s in _around(midi) if s != usual and abs(s.alter - key.signature_alter(s.staff)) == 1
    )
    return (usual, *rest)


def _around(midi: int) -> list[Spelling]:
    """Every spelling of a MIDI number with at most three sharps or flats."""
    staff = 7 * (midi // 12 - 1) + (midi % 12) * 7 // 12
    found = [spell_at(midi, staff + d) for d in (-2, -1, 0, 1, 2)]
    return [s for s in found if abs(s.alter) <= 3]


def make_key(letter: int, alter: int, mode: str) -> Key:
    """Return a key that is in use: a signature of at most seven sharps or flats.

    Raises:
        ConfigError: for an unknown mode or a signature beyond seven.
    """
    if mode not in MODE_FIFTHS:
        raise unknown("mode", mode, [*MODE_FIFTHS, "ionian", "aeolian"])
    key = Key(letter, alter, mode)
    if abs(key.fifths) > MOST_FIFTHS:
        raise ConfigError(
            f"{key.name} needs {abs(key.fifths)} sharps or flats: name its enharmonic neighbour"
        )
    return key


def parse_key(text: str) -> Key:
    """Read a key such as 'e minor', 'F# dorian', 'Bb', 'bb minor' or 'f-sharp minor'.

    A bare capital letter is major, a bare small one minor.

    Raises:
        ConfigError: with the nearest known mode, or an example where nothing is near.

    >>> parse_key("f-sharp minor").fifths
    3
    """
    match = _KEY.fullmatch(text)
    if match is None:
        raise ConfigError(f"unknown key {text!r}: write for instance 'e minor' or 'Bb major'")
    letter, sign, mode = match.groups()
    alter = _SIGNS[sign.lower().lstrip("-")]
    if not mode:
        mode = "minor" if letter.islower() else "major"
    elif mode == "M":
        mode = "major"
    mode = ALIASES.get(mode.lower(), mode.lower())
    return make_key(LETTERS.index(letter.upper()), alter, mode)
