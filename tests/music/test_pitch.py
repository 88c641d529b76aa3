"""Spelled pitches, against music21 and the MIDI specification."""

from __future__ import annotations

import music21
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.music.pitch import LETTERS, Spelling, spell_at, spelling

SPELLINGS = st.builds(Spelling, st.integers(-7, 70), st.integers(-3, 3))


def music21_name(name: str) -> str:
    """music21 writes a flat as '-', also where octaves are negative."""
    return name.replace("b", "-")


@pytest.mark.parametrize("octave", range(9))
@pytest.mark.parametrize("letter", LETTERS)
def test_names_and_numbers_agree_with_music21(letter: str, octave: int) -> None:
    for sign in ("", "#", "##", "###", "b", "bb", "bbb"):
        name = f"{letter}{sign}{octave}"
        theirs = music21.pitch.Pitch(music21_name(name))
        ours = spelling(name)
        assert ours.midi == theirs.ps  # .midi would fold what lies outside 0..127
        assert ours.name == name
        assert ours.staff == theirs.diatonicNoteNum - 1  # music21 counts C0 as 1


def test_middle_c() -> None:
    """MIDI 1.0: middle C is 60; scientific pitch notation calls it C4."""
    assert spelling("C4").midi == 60
    assert (spelling("A0").midi, spelling("C8").midi) == (21, 108)


@given(SPELLINGS)
def test_name_is_read_back(pitch: Spelling) -> None:
    assert spelling(pitch.name) == pitch
    assert spell_at(pitch.midi, pitch.staff) == pitch


@given(SPELLINGS, SPELLINGS)
def test_line_of_fifths_agrees_with_the_semitones(one: Spelling, other: Spelling) -> None:
    """Twelve fifths and seven octaves meet on the keyboard: 7 semitones a fifth, modulo 12."""
    assert (one.midi - other.midi - 7 * (one.fifths - other.fifths)) % 12 == 0


@pytest.mark.parametrize("name", ["", "H4", "C", "C####4", "C#b4", "4C", "C4 "])
def test_what_is_no_name(name: str) -> None:
    with pytest.raises(ValueError, match="not a pitch name"):
        spelling(name)
