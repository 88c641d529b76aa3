"""Sequences of our own in many textures, in any key, as patterns: for the tests of the endings.

A model is written in C major as (offset in units, length in units, note names) and set on the same
degrees of the key; its copies follow by the step, within the key. Newly written; the root motions
are those of the handbooks' sequences.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.music.pitch import Spelling, spelling
from livecont.sequence.pattern import Kind, Pattern, PedalMark, Position

PIANO = Compass(
    name="88", title="88 keys", lowest=21, highest=108, absent=frozenset(), source="common practice"
)
FIVE_OCTAVES = Compass(
    name="five", title="FF-f3", lowest=29, highest=89, absent=frozenset(), source="for tests"
)
SHORT = Compass(
    name="short",
    title="C/E-c3",
    lowest=36,
    highest=84,
    absent=frozenset({37, 39, 42, 44}),
    source="for tests",
)
MAJORS = tuple(
    Key(letter, alter, "major")
    for letter, alter in (
        *((0, 0), (4, 0), (1, 0), (5, 0), (2, 0), (6, 0), (3, 1), (0, 1)),
        *((3, 0), (6, -1), (2, -1), (5, -1), (1, -1), (4, -1), (0, -1)),
    )
)
MINORS = tuple(
    Key(letter, alter, "minor")
    for letter, alter in (
        *((5, 0), (2, 0), (6, 0), (3, 1), (0, 1), (4, 1), (1, 1), (5, 1)),
        *((1, 0), (4, 0), (0, 0), (3, 0), (6, -1), (2, -1), (5, -1)),
    )
)
KEYS = (*MAJORS, *MINORS)

Written = tuple[tuple[float, float, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """A model and the step by which it goes on; `voices` where it is plain counterpoint."""

    model: Written
    step: int
    cells: int


def even(count: int, *voices: str) -> Written:
    """Voices of `count` equal notes each; '+' joins notes struck together, '-' is a rest."""
    found = []
    for voice in voices:
        names = voice.split()
        assert count == len(names)
        for i, name in enumerate(names):
            if name != "-":
                found.append((i / count, 1 / count, name.replace("+", " ")))
    return tuple(found)


TEXTURES = {
    # falling fifths, D2 (D5/A4): roots C F | B E
    "two voices": Texture(model=even(2, "C3 F3", "E5 C5"), step=-1, cells=2),
    "four voices": Texture(model=even(2, "C3 F2", "E4+G4+C5 C4+F4+A4"), step=-1, cells=2),
    "open chords": Texture(model=even(2, "C3+G3 F3+A3", "E4+C5 F4+C5"), step=-1, cells=2),
    "broken chords": Texture(
        model=even(8, "C3 - G3 - F3 - C4 -", "E5 C5 G4 C5 F5 C5 A4 C5"), step=-1, cells=2
    ),
    "murmuring bass": Texture(
        model=(*even(8, "C3 G3 E3 G3 F3 C4 A3 C4"), *even(4, "E5 C5 A4 C5")), step=-1, cells=2
    ),
    "running line": Texture(
        model=(*even(2, "C3 F3"), *even(8, "E5 F5 G5 E5 C5 B4 A4 C5")), step=-1, cells=2
    ),
    "off the beat": Texture(
        model=(*even(2, "C3 F3"), *even(8, "- E5 G5 C6 - C5 F5 A5")), step=-1, cells=2
    ),
    "single line": Texture(model=even(8, "C4 E4 G4 C5 F3 A3 C4 F4"), step=-1, cells=2),
    # roots C G | A E: D3 (D4/A2)
    "falling thirds": Texture(model=even(2, "C4 G3", "E4+G4+C5 D4+G4+B4"), step=-2, cells=2),
    # roots C A | D B: A2 (D3/A4), 5-6
    "five six": Texture(model=even(2, "C3 C3", "E4+G4 E4+A4"), step=1, cells=2),
    # roots C G | D A: A2 (A5/D4)
    "rising fifths": Texture(
        model=even(8, "C3 G3 E3 G3 G2 D3 B2 D3", "E4 G4 C5 G4 D4 G4 B4 G4"), step=1, cells=2
    ),
    # one harmony a link
    "seven six": Texture(
        model=(*even(6, "A2 C4 A3 C4 A3 C4"), *even(6, "G5 - F5 E5 C5 F5")), step=-1, cells=1
    ),
    "parallel sixths": Texture(
        model=((0.0, 1.0, "E3"), *even(4, "G4+C5 B4 C5 E5")), step=-1, cells=1
    ),
    # roots C F D G | A D B E
    "four harmonies": Texture(
        model=even(4, "C3 F3 D3 G3", "E4+G4+C5 F4+A4+C5 F4+A4+D5 D4+G4+B4"), step=-2, cells=4
    ),
}


def pattern_of(
    texture: Texture,
    key: Key,
    unit_s: float = 2.0,
    pedals: tuple[PedalMark, ...] = (),
    octaves: int = 0,
) -> Pattern:
    """Return the pattern of two links of a texture in a key, as a listener would have it."""
    positions = [
        Position(
            offset_units=offset,
            articulation=0.9 * length,
            velocity=72,
            channel=0,
            heard=tuple(_in(key, name, link * texture.step, octaves) for link in (0, 1)),
        )
        for offset, length, names in texture.model
        for name in names.split()
    ]
    positions.sort(key=lambda p: (p.offset_units, min(s.midi for s in p.heard if s is not None)))
    return Pattern(
        unit_s=unit_s,
        step_degrees=texture.step,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=key,
        positions=tuple(positions),
        pedals=pedals,
        starts_s=(0.0, unit_s),
        due_s=2 * unit_s,
        confidence=0.95,
        links_heard=2,
    )


def _in(key: Key, name: str, ahead: int, octaves: int) -> Spelling:
    # the nearest way from C to the tonic, so that the register stays
    up = key.letter if key.letter <= 3 else key.letter - 7
    return key.natural(spelling(name).staff + up + ahead + 7 * octaves)
