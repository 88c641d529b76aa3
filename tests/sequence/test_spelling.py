"""Pairs are spelled so that the step is right, flats beside flats and sharps beside sharps.

The intervals are checked against music21's.
"""

from __future__ import annotations

import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.music.key import Key, parse_key
from livecont.music.pitch import Spelling, spelling
from livecont.sequence.spelling import Pair, options, spell_pairs
from tests.sequence.heard import C_MAJOR, named
from tests.strategies import keys, steps


def pairs(text: str, step: int) -> tuple[Pair, ...]:
    """Pairs from 'earlier>later' as names, of which only the MIDI numbers are used."""
    found = []
    for word in text.split():
        earlier, later = (None if n == "-" else spelling(n).midi for n in word.split(">"))
        found.append(Pair(earlier=earlier, later=later, step=step))
    return tuple(found)


def spelled(text: str, step: int, key: Key = C_MAJOR) -> str:
    return " ".join(named(both).replace(" ", ">") for both in spell_pairs(pairs(text, step), key))


def test_the_step_decides() -> None:
    """One black key, two names: C# goes up to D#, Db goes up to Eb."""
    assert spelled("C#4>D4", 1) == "C#4>D4"
    assert spelled("C#4>C4", -1) == "Db4>C4"
    assert spelled("F#4>E4", -1) == "F#4>E4"
    assert spelled("F#4>F4", -1) == "Gb4>F4"


@pytest.mark.parametrize(
    ("company", "named_so"),
    [("Bb3>Ab3 F4>Eb4 Ab4>Gb4", "Eb4>Db4"), ("B3>A3 F#4>E4 G#4>F#4 C#4>B3", "D#4>C#4")],
)
def test_a_pair_takes_the_side_of_its_company(company: str, named_so: str) -> None:
    """The same two black keys a step apart, beside flats and beside sharps."""
    assert spelled(f"{company} D#4>C#4", -1).split()[-1] == named_so


def test_a_note_without_partner_takes_the_side_of_the_company_too() -> None:
    assert spelled("F4>Eb4 Bb3>A3 Ab4>G4 C#4>-", -1).split()[-1] == "Db4>-"
    assert spelled("F#4>E4 A4>G#4 E5>D#5 ->D#4", -1).split()[-1] == "->D#4"


def test_the_key_settles_what_nothing_else_tells() -> None:
    assert spelled("F#4>-", 1, parse_key("e minor")) == "F#4>-"
    assert spelled("F#4>-", 1, parse_key("Db major")) == "Gb4>-"
    assert spelled("G#4>-", 1, parse_key("a minor")) == "G#4>-"


def test_a_pair_that_no_spelling_brings_a_step_apart_is_spelled_note_by_note() -> None:
    assert spelled("C4>G4", 1) == "C4>G4"
    assert options(60, 67, 1, C_MAJOR) == ()


def test_options_come_usual_first() -> None:
    found = options(61, 63, 1, parse_key("Ab major"))
    assert named(found[0]) == "Db4 Eb4"
    assert all(later.staff - earlier.staff == 1 for earlier, later in found)


@settings(max_examples=60)
@given(keys(), steps(), st.integers(21, 36))
def test_notes_of_the_scale_keep_their_names(key: Key, step: int, staff: int) -> None:
    one, other = key.natural(staff), key.natural(staff + step)
    pair = Pair(earlier=one.midi, later=other.midi, step=step)
    assert spell_pairs((pair,), key) == ((one, other),)


@settings(max_examples=60)
@given(keys("major", "minor"), st.integers(48, 84), st.integers(48, 84), steps())
def test_a_spelled_pair_is_an_interval_of_that_size(
    key: Key, earlier: int, later: int, step: int
) -> None:
    for one, other in options(earlier, later, step, key):
        assert (one.midi, other.midi) == (earlier, later)
        interval = music21.interval.Interval(their_pitch(one), their_pitch(other))
        assert interval.generic.staffDistance == step


def their_pitch(pitch: Spelling) -> music21.pitch.Pitch:
    return music21.pitch.Pitch(pitch.name.replace("b", "-"))
