"""Roman numerals and figures, against music21 (10.5) and common practice."""

from __future__ import annotations

import re

import music21
import pytest

from livecont.music.harmony import Harmony, PitchName, Quality, harmony_on, quality_of
from livecont.music.key import Key, parse_key
from livecont.music.numeral import figured_bass, figures, numeral, numerals
from livecont.music.pitch import LETTERS, spelling

C_MAJOR, A_MINOR = parse_key("C major"), parse_key("a minor")


def chord(names: str, key: Key = C_MAJOR) -> Harmony:
    """A harmony from its notes, the bass first, the root named before a colon."""
    root, _, rest = names.partition(": ")
    notes = [spelling(name) for name in rest.split()]
    letter = LETTERS.index(root)
    seventh = any((note.letter - letter) % 7 == 6 for note in notes)
    return harmony_on(letter, notes, notes[0], key, seventh=seventh)


@pytest.mark.parametrize(
    ("names", "key", "expected"),
    [
        ("C: C3 E4 G4", C_MAJOR, "I"),
        ("C: E3 C4 G4", C_MAJOR, "I6"),
        ("C: G2 C4 E4", C_MAJOR, "I6/4"),
        ("G: G2 B3 D4 F4", C_MAJOR, "V7"),
        ("G: B2 G3 D4 F4", C_MAJOR, "V6/5"),
        ("G: D3 G3 B3 F4", C_MAJOR, "V4/3"),
        ("G: F3 G3 B3 D4", C_MAJOR, "V4/2"),
        ("B: B2 D4 F4", C_MAJOR, "vii°"),
        ("B: B2 D4 F4 A4", C_MAJOR, "viiø7"),
        ("E: E3 G#3 B3", A_MINOR, "V"),
        ("E: E3 G3 B3", A_MINOR, "v"),
        ("G: G#2 B3 D4", A_MINOR, "vii°"),
        ("G: G#2 B3 D4 F4", A_MINOR, "vii°7"),
        ("G: G2 B3 D4", A_MINOR, "VII"),
        ("C: C3 E3 G#3", A_MINOR, "III+"),
        ("D: F3 Db4 Ab4", C_MAJOR, "bII6"),
    ],
)
def test_a_chords_numeral(names: str, key: Key, expected: str) -> None:
    harmony = chord(names, key)
    assert numeral(harmony, key) == expected
    if expected.startswith("III+"):
        return  # music21 takes the seventh degree's accidental for granted here
    figure = re.sub(r"(\d)/(\d)", r"\1\2", expected).replace("°", "o").replace("ø", "/o")
    theirs = music21.roman.RomanNumeral(
        figure.replace("bII", "-II"), "C" if key is C_MAJOR else "a"
    )
    assert {p.name.replace("-", "b") for p in theirs.pitches} == {t.name for t in harmony.tones}


@pytest.mark.parametrize(
    ("names", "into", "key", "expected"),
    [
        ("A: A2 C#4 E4 G4", "D: D3 F4 A4", C_MAJOR, "V7/ii"),
        ("A: C#3 A3 E4 G4", "D: D3 F4 A4", C_MAJOR, "V6/5/ii"),
        ("D: D3 F#4 A4", "G: G2 B3 D4", C_MAJOR, "V/V"),
        ("C: C3 E4 G4 Bb4", "F: F3 A4 C5", C_MAJOR, "V7/IV"),
        ("G: G2 B3 D4 F4", "C: C3 E4 G4", A_MINOR, "V7/III"),
        ("F: F#2 A3 C4", "G: G2 B3 D4", C_MAJOR, "vii°/V"),
        ("G: G#2 B3 D4 F4", "A: A2 C4 E4", C_MAJOR, "vii°7/vi"),
        # the key's own dominant is none of another degree, nor is a plain triad
        ("G: G2 B3 D4 F4", "C: C3 E4 G4", C_MAJOR, "V7"),
        ("C: C3 E4 G4", "F: F3 A4 C5", C_MAJOR, "I"),
        ("G: G2 B3 D4", "C: C3 E4 G4", A_MINOR, "VII"),
        # what does not go on as a dominant is none
        ("D: D3 F#4 A4", "A: A2 C4 E4", C_MAJOR, "II"),
    ],
)
def test_dominants_of_other_degrees(names: str, into: str, key: Key, expected: str) -> None:
    """Common practice: a dominant's root goes up a fourth, a leading tone's a semitone."""
    assert numeral(chord(names, key), key, chord(into, key)) == expected


def test_numerals_of_a_row_look_at_what_follows() -> None:
    row = [chord("A: A2 C#4 E4 G4"), chord("D: D3 F4 A4")]
    assert numerals(row, C_MAJOR) == ("V7/ii", "ii")
    assert numerals(row[:1], C_MAJOR, after=row[1]) == ("V7/ii",)


@pytest.mark.parametrize(
    ("names", "key", "expected"),
    [
        ("C: C3 E4 G4", C_MAJOR, ""),
        ("C: E3 G4 C5", C_MAJOR, "6"),
        ("G: B2 D4 F4 G4", C_MAJOR, "6/5"),
        ("E: E3 G#3 B3", A_MINOR, "#"),
        ("G: B2 G#3 D4", A_MINOR, "#6"),
        ("E: D3 E3 G#3 B3", A_MINOR, "#4/2"),
        ("D: F3 Db4 Ab4", C_MAJOR, "b6/b"),
    ],
)
def test_figured_bass(names: str, key: Key, expected: str) -> None:
    """Thoroughbass as handbooks teach it (common practice)."""
    assert figured_bass(chord(names, key), key) == expected


def test_figures_know_inversions_only() -> None:
    assert figures(chord("E: B2 E3 G#3", A_MINOR)) == "6/4"


@pytest.mark.parametrize(
    ("notes", "quality"),
    [
        ("C E G", Quality.MAJOR),
        ("C Eb G", Quality.MINOR),
        ("C Eb Gb", Quality.DIMINISHED),
        ("C E G#", Quality.AUGMENTED),
        ("C E Gb", Quality.OTHER),
    ],
)
def test_qualities_are_music21s(notes: str, quality: Quality) -> None:
    tones = [spelling(f"{name}4") for name in notes.split()]
    names = [PitchName(tone.letter, tone.alter) for tone in tones]
    assert quality_of(names[0], names[1], names[2]) is quality
    theirs = music21.chord.Chord([name.replace("b", "-") for name in notes.split()])
    assert theirs.quality == quality.value


def test_a_tone_that_does_not_sound_is_the_keys() -> None:
    harmony = harmony_on(
        4, [spelling("B3")], spelling("E3"), A_MINOR.__class__(0, 0, "major"), seventh=False
    )
    assert [tone.name for tone in harmony.tones] == ["G", "B", "D"]
