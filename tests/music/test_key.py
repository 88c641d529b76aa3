"""Keys, degrees and spelling, against music21 and against one another."""

from __future__ import annotations

import music21
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.errors import ConfigError
from livecont.music.key import MODE_FIFTHS, Key, make_key, parse_key
from livecont.music.pitch import LETTERS, accidental

CHURCH_MODES = sorted(MODE_FIFTHS)


def keys_in_use() -> list[Key]:
    """Every tonic and mode with at most seven sharps or flats: 15 of each mode."""
    found = []
    for mode in CHURCH_MODES:
        for letter in range(7):
            for alter in (-1, 0, 1):
                try:
                    found.append(make_key(letter, alter, mode))
                except ConfigError:
                    continue
    return found


KEYS = keys_in_use()
KEY = st.sampled_from(KEYS)


def their_key(key: Key) -> music21.key.Key:
    return music21.key.Key(key.tonic.replace("b", "-"), key.mode)


def our_name(pitch: music21.pitch.Pitch) -> str:
    return str(pitch.nameWithOctave).replace("-", "b")


def test_all_keys_in_use_are_found() -> None:
    """Every mode has a tonic for each of the 15 signatures, none of which needs a double sign."""
    assert len(KEYS) == 7 * 15
    assert {key.fifths for key in KEYS} == set(range(-7, 8))


@pytest.mark.parametrize("key", KEYS, ids=lambda key: key.name)
def test_signature_scale_and_degrees_agree_with_music21(key: Key) -> None:
    theirs = their_key(key)
    assert key.fifths == theirs.sharps
    scale = theirs.getPitches("C2", "C7")
    for pitch in scale:
        staff = pitch.diatonicNoteNum - 1
        assert key.natural(staff).name == our_name(pitch)
        assert key.degree(staff) + 1 == theirs.getScaleDegreeFromPitch(pitch)
        assert key.spell(int(pitch.ps)).name == our_name(pitch)
    for letter in LETTERS:
        their_sign = theirs.accidentalByStep(letter)
        ours = key.signature_alter(LETTERS.index(letter))
        assert ours == (int(their_sign.alter) if their_sign else 0)


@pytest.mark.parametrize("key", KEYS, ids=lambda key: key.name)
def test_diatonic_transposition_agrees_with_music21(key: Key) -> None:
    """A tonal step moves every note by the same number of degrees of the key."""
    scale = their_key(key).getScale()
    up, down = music21.scale.Direction.ASCENDING, music21.scale.Direction.DESCENDING
    for pitch in scale.getPitches("C4", "B4"):
        for steps in (-9, -7, -4, -3, -2, -1, 1, 2, 3, 4, 7, 9):
            moved = scale.nextPitch(pitch, up if steps > 0 else down, stepSize=abs(steps))
            assert key.natural(pitch.diatonicNoteNum - 1 + steps).name == our_name(moved)


# chords that leave the scale, as music21 spells them from their roman numerals
MAJOR_CHORDS = ("V7/V", "V7/ii", "V7/vi", "V7/IV", "viio7/V", "viio6/ii", "V7")
MINOR_CHORDS = ("V7", "viio7", "V7/iv", "V7/V", "V7/VI", "V7/III", "bII6", "IV")


@pytest.mark.parametrize("fifths", range(-5, 6))
def test_chromatic_notes_of_common_chords_agree_with_music21(fifths: int) -> None:
    for mode, figures in (("major", MAJOR_CHORDS), ("minor", MINOR_CHORDS)):
        theirs = music21.key.KeySignature(fifths).asKey(mode)
        key = make_key(LETTERS.index(theirs.tonic.step), int(theirs.tonic.alter), mode)
        for figure in figures:
            for pitch in music21.roman.RomanNumeral(figure, theirs).pitches:
                assert key.spell(int(pitch.ps)).name == our_name(pitch), (key.name, figure)


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_melodic_minor_agrees_with_music21(fifths: int) -> None:
    """The raised sixth and seventh are alterations of their degrees."""
    theirs = music21.key.KeySignature(fifths).asKey("minor")
    key = make_key(LETTERS.index(theirs.tonic.step), int(theirs.tonic.alter), "minor")
    scale = music21.scale.MelodicMinorScale(theirs.tonic)
    for pitch in scale.getPitches("C3", "C6", direction=music21.scale.Direction.ASCENDING):
        assert key.spell(int(pitch.ps)).name == our_name(pitch)
        assert key.degree(pitch.diatonicNoteNum - 1) + 1 == scale.getScaleDegreeFromPitch(
            pitch, direction=music21.scale.Direction.ASCENDING
        )


@given(KEY, st.integers(0, 127))
def test_every_spelling_sounds_the_note_and_stays_near_the_signature(key: Key, midi: int) -> None:
    usual, *others = key.spellings(midi)
    assert usual == key.spell(midi)
    for pitch in (usual, *others):
        assert pitch.midi == midi
        assert abs(pitch.alter - key.signature_alter(pitch.staff)) <= 1
    if usual.alter != key.signature_alter(usual.staff):
        assert others  # a foreign note has a neighbour on either side


@given(KEY, st.integers(0, 70), st.integers(-14, 14))
def test_a_step_and_its_inverse_come_home(key: Key, staff: int, steps: int) -> None:
    there = key.natural(staff + steps)
    assert key.natural(there.staff - steps) == key.natural(staff)
    assert (key.degree(there.staff) - key.degree(staff) - steps) % 7 == 0


@given(KEY)
def test_key_is_read_back_from_its_name(key: Key) -> None:
    assert parse_key(key.name) == key


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("C", "C major"),
        ("a", "a minor"),
        ("Bb", "Bb major"),
        ("bb minor", "bb minor"),
        ("F# dorian", "f# dorian"),
        ("f-sharp minor", "f# minor"),
        ("E-flat", "Eb major"),
        ("D aeolian", "d minor"),
        ("Gm", "g minor"),
        ("G maj", "G major"),
        ("  e   minor ", "e minor"),
    ],
)
def test_ways_to_write_a_key(text: str, name: str) -> None:
    assert parse_key(text).name == name


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "write for instance"),
        ("H major", "write for instance"),
        ("e minro", "did you mean 'minor'"),
        ("G# major", "8 sharps or flats"),
        ("Fb", "8 sharps or flats"),
        (accidental(3) + "C", "write for instance"),
    ],
)
def test_what_is_no_key(text: str, complaint: str) -> None:
    with pytest.raises(ConfigError, match=complaint):
        parse_key(text)
