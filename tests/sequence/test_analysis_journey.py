"""Where sequences go: real ones out of the key, tonicising ones through keys of their links.

A circle of whole tones closes after six links, one of fourths after twelve (common practice).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import spell_at
from livecont.sequence.analysis import analysed, numerals_at
from livecont.sequence.analysis_journey import journey, tonicised
from livecont.sequence.analysis_links import key_at
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Kind, Pattern
from tests.sequence.handbook import ROWS
from tests.sequence.handbook import pattern_of as row_pattern
from tests.sequence.textures import TEXTURES, pattern_of

C_MAJOR = parse_key("C major")


def real(pattern: Pattern, semitones: int) -> Pattern:
    """The same model, its copy moved by semitones."""
    positions = []
    for position in pattern.positions:
        model = position.heard[0]
        assert model is not None
        copy = spell_at(model.midi + semitones, model.staff + pattern.step_degrees)
        positions.append(replace(position, heard=(model, copy)))
    return replace(pattern, positions=tuple(positions), kind=Kind.REAL, shift_semitones=semitones)


def told(pattern: Pattern) -> str | None:
    return journey(analysed(pattern), Course(pattern))


def test_whole_tones_down_come_round_after_six_links() -> None:
    pattern = real(pattern_of(TEXTURES["four voices"], C_MAJOR), -2)
    assert told(pattern) == ("walks out of the key: C, Bb, Ab, Gb, E, D and after 6 links C again")


def test_a_sequence_in_its_key_goes_nowhere() -> None:
    assert told(pattern_of(TEXTURES["four voices"], C_MAJOR)) is None


@pytest.mark.parametrize(
    ("label", "keys"),
    [("A2 (A4/D3)", ("F major", "G major")), ("D2 (A4/D5)", ("d minor",))],
)
def test_dominants_of_links_tonicise(label: str, keys: tuple[str, ...]) -> None:
    """The monte rises to the fourth and fifth degrees, the fonte falls from the second."""
    (row,) = [row for row in ROWS if row.label == label]
    pattern = row_pattern(row, C_MAJOR, "block")
    assert tonicised(analysed(pattern), Course(pattern), links=2) == keys


def test_a_monte_says_so() -> None:
    (row,) = [row for row in ROWS if row.label == "A2 (A4/D3)"]
    said = told(row_pattern(row, C_MAJOR, "block"))
    assert said is not None
    assert said.startswith("tonicises F major, G major")


@pytest.mark.parametrize(("semitones", "keys"), [(-2, "Bb Ab Gb E D"), (-1, "B Bb A Ab G")])
def test_each_link_of_a_real_sequence_is_in_its_own_key(semitones: int, keys: str) -> None:
    """The same numerals in every link, in the key that it has come to."""
    pattern = real(pattern_of(TEXTURES["four voices"], C_MAJOR), semitones)
    analysis, course = analysed(pattern), Course(pattern)
    assert numerals_at(analysis, course, 1) == ("I", "IV")
    for number, tonic in enumerate(keys.split(), 2):
        assert key_at(analysis, course, number).tonic == tonic
        assert numerals_at(analysis, course, number) == (f"{tonic}: I", "IV")
