"""Every row of the handbooks' table is named, in all keys and four figurations.

The sources of the rows stand in `handbook.py` here. music21 (10.5) reads our roman numerals and
finds roots and inversions in our main notes.
"""

from __future__ import annotations

import re
from functools import cache

import music21
import pytest

from livecont.music.harmony import Harmony
from livecont.music.key import Key
from livecont.sequence.analysis import (
    Analysis,
    analysed,
    figures_at,
    harmonies_at,
    numerals_at,
    reduced,
)
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Pattern
from tests.sequence.handbook import FIGURATIONS, ROWS, Row, pattern_of
from tests.sequence.textures import MAJORS, MINORS

CASES = [(row, key) for row in ROWS for key in (MAJORS if row.mode == "major" else MINORS)]


@cache
def told(row: Row, key: Key, figuration: str) -> tuple[Pattern, Analysis]:
    pattern = pattern_of(row, key, figuration)
    return pattern, analysed(pattern)


def theirs(key: Key) -> music21.key.Key:
    tonic = key.tonic.replace("b", "-")
    return music21.key.Key(tonic if key.mode == "major" else tonic.lower())


def name_of(pitch: music21.pitch.Pitch) -> str:
    return str(pitch.name).replace("-", "b")


@pytest.mark.parametrize("figuration", FIGURATIONS)
@pytest.mark.parametrize(
    ("row", "key"), CASES, ids=lambda one: getattr(one, "id", None) or one.name
)
def test_a_row_has_its_label_name_and_numerals(row: Row, key: Key, figuration: str) -> None:
    pattern, analysis = told(row, key, figuration)
    assert analysis.label is not None
    assert analysis.label.text == row.label
    assert analysis.label.common_name == row.name
    course = Course(pattern)
    heard = [numeral for number in (1, 2) for numeral in numerals_at(analysis, course, number)]
    assert heard == row.numerals.split()[: len(heard)]


@pytest.mark.parametrize(
    "row", [row for row in ROWS if "/" not in row.numerals], ids=lambda r: r.id
)
def test_a_link_to_come_has_the_tables_numerals(row: Row) -> None:
    for key in MAJORS if row.mode == "major" else MINORS:
        pattern, analysis = told(row, key, "block")
        third = numerals_at(analysis, Course(pattern), 3)
        assert list(third) == row.numerals.split()[2 * len(third) :]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_music21_reads_our_numerals_as_the_same_chords(row: Row) -> None:
    for key in (MAJORS if row.mode == "major" else MINORS)[:7]:
        pattern, analysis = told(row, key, "broken")
        course = Course(pattern)
        for number in (1, 2):
            harmonies = harmonies_at(analysis, course, number)
            numerals = numerals_at(analysis, course, number)
            for harmony, numeral in zip(harmonies, numerals, strict=True):
                chord = music21.roman.RomanNumeral(ascii_of(numeral), theirs(key))
                assert {name_of(p) for p in chord.pitches} == {t.name for t in harmony.tones}
                assert name_of(chord.root()) == harmony.root.name
                assert name_of(chord.bass()) == harmony.bass.name


def ascii_of(numeral: str) -> str:
    """Our numeral as music21 writes it."""
    figure = re.sub(r"(\d)/(\d)", r"\1\2", numeral)
    return figure.replace("°", "o").replace("ø", "/o")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_music21_finds_our_roots_in_our_main_notes(row: Row) -> None:
    for key in (MAJORS if row.mode == "major" else MINORS)[::3]:
        pattern, analysis = told(row, key, "block")
        course = Course(pattern)
        for number in (1, 2, 3):
            notes = reduced(analysis, course, number)
            for harmony in harmonies_at(analysis, course, number):
                at_s = harmony.start_units * pattern.unit_s
                chord = music21.chord.Chord(
                    [
                        n.spelling.name.replace("b", "-")
                        for n in notes
                        if abs(n.offset_s - at_s) < 0.01
                    ]
                )
                assert name_of(chord.root()) == harmony.root.name
                assert chord.inversion() == harmony.inversion


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_figured_bass_is_that_of_the_inversion(row: Row) -> None:
    """Common practice: 6, 6/4, 7, 6/5 ...; an altered third is figured by its accidental."""
    key = MAJORS[0] if row.mode == "major" else MINORS[0]
    pattern, analysis = told(row, key, "block")
    course = Course(pattern)
    for number in (1, 2):
        told_figures = figures_at(analysis, course, number)
        for harmony, (bass, figure) in zip(
            harmonies_at(analysis, course, number), told_figures, strict=True
        ):
            assert bass == harmony.bass.name
            plain = [part for part in figure.split("/") if part.strip("#b")]
            assert [part.strip("#b") for part in plain] == expected(harmony)
            altered = {t.name for t in harmony.tones if key.signature_alter(t.letter) != t.alter}
            signs = sum(part != part.strip("#b") for part in figure.split("/"))
            assert signs == len(altered - {harmony.bass.name})


def expected(harmony: Harmony) -> list[str]:
    triads, sevenths = [[], ["6"], ["6", "4"]], [["7"], ["6", "5"], ["4", "3"], ["4", "2"]]
    return (sevenths if harmony.seventh else triads)[harmony.inversion]
