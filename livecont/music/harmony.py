"""Harmonies: roots, qualities, inversions, as values.

Conventions: a `PitchName` is a letter (C = 0 ... B = 6) with its accidental, no octave. Intervals
between letters are generic, 0..6 places up. Starts are in units (1.0 = one link) from the link's
start; a harmony holds until the next begins, the last until the first of the next link.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from livecont.music.key import Key
from livecont.music.pitch import LETTER_FIFTHS, LETTER_SEMITONES, LETTERS, Spelling, accidental

PLACES = 7
THIRD, FIFTH, SEVENTH = 2, 4, 6  # places above the root


@dataclass(frozen=True, slots=True, order=True)
class PitchName:
    """A pitch's name without its octave.

    >>> PitchName(3, 1).name
    'F#'
    """

    letter: int
    alter: int

    @property
    def name(self) -> str:
        """The name, such as F#."""
        return LETTERS[self.letter] + accidental(self.alter)

    @property
    def pitch_class(self) -> int:
        """Semitones above C, 0..11."""
        return (LETTER_SEMITONES[self.letter] + self.alter) % 12

    @property
    def fifths(self) -> int:
        """Place on the line of fifths, C = 0, G = 1, F = -1."""
        return LETTER_FIFTHS[self.letter] + PLACES * self.alter


class Quality(StrEnum):
    """A triad's quality; other where it is none of the four (Fux to the present: common practice).

    A seventh is told apart, by `Harmony.tones`.
    """

    MAJOR = "major"
    MINOR = "minor"
    DIMINISHED = "diminished"
    AUGMENTED = "augmented"
    OTHER = "other"


# semitones of third and fifth above the root
_QUALITIES = {
    (4, 7): Quality.MAJOR,
    (3, 7): Quality.MINOR,
    (3, 6): Quality.DIMINISHED,
    (4, 8): Quality.AUGMENTED,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Harmony:
    """A harmony of a link.

    `tones` are its root, third, fifth and, where it has one, seventh, in the spelling that they
    have there; `bass` is what lies lowest and `inversion` which of the tones that is (0 root ... 3
    seventh).
    """

    start_units: float
    root: PitchName
    quality: Quality
    seventh: bool
    bass: PitchName
    inversion: int
    tones: tuple[PitchName, ...]


def name_of(spelling: Spelling) -> PitchName:
    """Return a pitch's name without its octave."""
    return PitchName(spelling.letter, spelling.alter)


def quality_of(root: PitchName, third: PitchName, fifth: PitchName) -> Quality:
    """Return a triad's quality.

    >>> quality_of(PitchName(6, 0), PitchName(1, 0), PitchName(3, 0)).value
    'diminished'
    """
    above = tuple((tone.pitch_class - root.pitch_class) % 12 for tone in (third, fifth))
    return _QUALITIES.get((above[0], above[1]), Quality.OTHER)


def harmony_on(
    root: int,
    sounding: Iterable[Spelling],
    bass: Spelling | None,
    key: Key,
    *,
    seventh: bool,
    start_units: float = 0.0,
) -> Harmony:
    """Return the harmony on a root's letter, its tones spelled as they sound, else as in the key.

    Args:
        root: the root's letter, C = 0.
        sounding: the notes that sound in it, the weightiest first.
        bass: the lowest, None where it is not known: then the root's.
        key: for the tones that do not sound; a tone missing from a dominant is the leading tone.
        seventh: whether it has a seventh.
        start_units: where it begins.
    """
    alters: dict[int, int] = {}
    for note in sounding:
        alters.setdefault(note.letter, note.alter)
    places = (0, THIRD, FIFTH, SEVENTH) if seventh else (0, THIRD, FIFTH)
    tones = tuple(_tone((root + place) % PLACES, alters, key) for place in places)
    lowest = tones[0] if bass is None else name_of(bass)
    above = (lowest.letter - root) % PLACES
    return Harmony(
        start_units=start_units,
        root=tones[0],
        quality=quality_of(*tones[:3]),
        seventh=seventh,
        bass=lowest,
        inversion=places.index(above) if above in places else 0,
        tones=tones,
    )


def _tone(letter: int, alters: dict[int, int], key: Key) -> PitchName:
    return PitchName(letter, alters.get(letter, key.signature_alter(letter)))
