"""Compasses, and our table of them against published descriptions."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.config import load_preferences
from livecont.music.compass import Compass

COMPASSES = load_preferences().compasses

# number of keys as the descriptions give it, not as our table would count it; the descriptions
# themselves are named beside each compass in configs/compasses.toml
PUBLISHED_KEYS = {
    "italian-short-f3": 50,  # "50-note C/E-f3", denzilwraight.com/pfcompasses.htm
    "italian-gg-bb": 50,  # "another 50-note compass, GG/BB-c3", the same
    "italian-gg-d3": 56,  # "56 notes, GG-d'''", hpschd.nu/tech/tun/pitch.html
    "italian-c-c3": 49,  # "C-C 49", a music dictionary of 1880, vol. 2 p. 54
    "flemish-short": 45,  # "E-C 45 notes", the same
    "clavichord-fretted": 54,  # "C-F 54", the same
    "piano-ff-f3": 61,  # "61 notes from FF-f'''", hpschd.nu
    "piano-1720": 54,  # "the 54-note range", hystoria.ca
    "piano-cc-g4": 80,  # "80 note", rjregier.com
    "piano-aaa-a4": 85,  # "85 note pianos ... AAA to a4", moypiano.com
    "modern": 88,  # "88 notes", hpschd.nu
    "modern-97": 97,  # 88 and "an extra nine keys", key-notes.com
    "modern-102": 102,  # "102 keys", mitchellcon.blogspot.com
}


@pytest.mark.parametrize("name", sorted(PUBLISHED_KEYS))
def test_number_of_keys_is_the_published_one(name: str) -> None:
    assert len(COMPASSES[name]) == PUBLISHED_KEYS[name]


def test_modern_piano_in_midi_numbers() -> None:
    """MIDI 1.0: A0 is 21 and C8 is 108 where middle C is 60."""
    assert (COMPASSES["modern"].lowest, COMPASSES["modern"].highest) == (21, 108)


def test_short_octaves_lack_their_sharps() -> None:
    """'C/E' is spelled so because C sounds on the key of E (greifenberger-institut.de)."""
    short = COMPASSES["italian-short"]
    chromatic = COMPASSES["italian-c-c3"]
    assert (short.lowest, short.highest) == (chromatic.lowest, chromatic.highest)
    # an octave from C to c has 13 keys; from the key of E it has 9 to sound C with
    assert len(chromatic) - len(short) == 13 - 9
    assert [pitch for pitch in range(36, 48) if pitch in short] == [36, 38, 40, 41, 43, 45, 46, 47]


def test_titles_and_names_with_a_number_have_that_many_keys() -> None:
    for compass in COMPASSES.values():
        if compass.title.endswith("keys"):
            assert int(compass.title.split()[-2]) == len(compass), compass.name
        last = compass.name.rpartition("-")[2]
        if compass.name.startswith(("controller-", "modern-")):
            assert int(last) == len(compass), compass.name


def test_every_compass_names_its_source() -> None:
    assert all(compass.source.strip() for compass in COMPASSES.values())
    assert len(COMPASSES) >= 30


@given(st.integers(0, 60), st.integers(61, 127), st.frozensets(st.integers(0, 127), max_size=5))
def test_length_counts_the_keys(lowest: int, highest: int, gaps: frozenset[int]) -> None:
    absent = frozenset(pitch for pitch in gaps if lowest < pitch < highest)
    compass = Compass(
        name="any", title="", lowest=lowest, highest=highest, absent=absent, source=""
    )
    inside = [pitch for pitch in range(-5, 140) if pitch in compass]
    assert len(inside) == len(compass)
    assert compass.holds(inside)
    assert not compass.holds([*inside, highest + 1])
