"""Where a chain leads: the stations of its circle, and when it closes.

Conventions: a station is where the key's tonic is carried to in a link: in a real chain the key
that the link is in, in a tonal one the degree that takes the tonic's part, in either the model's
own tonic in link 1. Spelled within the octave above middle C.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.pitch import Spelling, spell_at
from livecont.sequence.endings_course import lap_of
from livecont.sequence.pattern import Kind, Pattern

MIDDLE_OCTAVE = 4
# more sharps or flats than this in a key and it is called by its enharmonic neighbour
MOST_FIFTHS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A chain's circle: it closes after `links` links, `octaves` away (down is negative).

    `stations` has one entry a link, the model's first. `keys` are the keys that a real chain
    passes through, likewise; empty for a chain that stays in its key.
    """

    links: int
    octaves: int
    stations: tuple[Spelling, ...]
    keys: tuple[Key, ...]

    @property
    def said(self) -> str:
        """The circle in words, such as 'D, C, Bb, Ab, F#, E and after 6 links D again'."""
        names = [key.tonic for key in self.keys] or [s.letter_name for s in self.stations]
        return f"{', '.join(names)} and after {self.links} links {names[0]} again"


def circle_of(pattern: Pattern) -> Circle:
    """Return where a pattern leads from link to link until it is back."""
    links, octaves = lap_of(pattern)
    key = pattern.key
    tonic = Spelling(7 * MIDDLE_OCTAVE + key.letter, key.alter)
    real = pattern.kind is Kind.REAL and pattern.shift_semitones is not None
    if not real:
        stations = tuple(
            key.natural(_within(tonic.staff, k * pattern.step_degrees)) for k in range(links)
        )
        return Circle(links=links, octaves=octaves, stations=stations, keys=())
    shift = pattern.shift_semitones or 0
    keys = tuple(_moved(key, k * pattern.step_degrees, k * shift) for k in range(links))
    stations = tuple(Spelling(7 * MIDDLE_OCTAVE + k.letter, k.alter) for k in keys)
    return Circle(links=links, octaves=octaves, stations=stations, keys=keys)


def _within(tonic_staff: int, degrees: int) -> int:
    return 7 * MIDDLE_OCTAVE + (tonic_staff + degrees) % 7


def _moved(key: Key, degrees: int, semitones: int) -> Key:
    """The key so many places and semitones away, in a spelling that is in use."""
    tonic = Spelling(7 * MIDDLE_OCTAVE + key.letter, key.alter)
    moved = spell_at(tonic.midi + semitones, tonic.staff + degrees)
    found = Key(moved.letter, moved.alter, key.mode)
    while abs(found.fifths) > MOST_FIFTHS:
        # the enharmonic neighbour has its tonic a letter above (for flats below)
        moved = spell_at(moved.midi, moved.staff + (1 if found.fifths > 0 else -1))
        again = Key(moved.letter, moved.alter, key.mode)
        if abs(again.fifths) >= abs(found.fifths):
            break
        found = again
    return found
