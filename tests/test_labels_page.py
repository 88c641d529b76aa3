"""The page "What the labels mean" says what is so: its rows against the code and music21.

The sources of the rows are named on the page itself (configs/labels.md).
"""

from __future__ import annotations

import re
from itertools import accumulate

import music21
import pytest

from livecont.config import configs_folder
from livecont.music.harmony import Harmony, harmony_on
from livecont.music.key import Key, parse_key
from livecont.music.label import APPLIED, SIX_THREE, Label, make_label
from livecont.music.numeral import numeral
from livecont.music.pitch import LETTERS

PAGE = (configs_folder() / "labels.md").read_text("utf-8")
MODES = {"major": parse_key("C major"), "minor": parse_key("c minor")}


def rows(heading: str) -> list[list[str]]:
    """The cells of the table under a heading, without its head."""
    part = PAGE.split(f"## {heading}", 1)[1].split("\n## ", 1)[0]
    lines = [line for line in part.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


TABLE = rows("The table")


def read(text: str) -> tuple[int, tuple[int, ...]]:
    """Step and motions of a label, as the page writes it."""
    signed = [
        (int(number) - 1) * (1 if letter == "A" else -1)
        for letter, number in re.findall(r"([AD])(\d)", text)
    ]
    return signed[0], tuple(signed[1:])


def degrees(text: str, links: int = 3) -> list[int]:
    """The degrees of the roots of some links from the tonic."""
    _, motions = read(text)
    return [d % 7 for d in accumulate(motions * links, initial=0)][: links * len(motions)]


def label_of(text: str) -> Label:
    step, motions = read(text)
    return make_label(step, motions, fourth_first=text.endswith("(A4/D5)"))


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row[0])
def test_a_rows_label_name_and_words_are_the_codes(row: list[str]) -> None:
    text, name, said, *_ = row
    step, motions = read(text)
    assert sum(motions) == step, "the motions add up to the step"
    label = label_of(text)
    assert (label.text, label.common_name, label.spoken) == (text, name, said)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row[0])
def test_a_rows_roots_follow_from_its_label(row: list[str]) -> None:
    assert row[3].split() == [LETTERS[degree] for degree in degrees(row[0])]


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("row", TABLE, ids=lambda row: row[0])
def test_a_rows_numerals_are_ours_and_music21s(row: list[str], mode: str) -> None:
    told = row[4 if mode == "major" else 5].split()
    assert told == [numeral(triad(degree, MODES[mode]), MODES[mode]) for degree in degrees(row[0])]
    theirs = music21.key.Key("C" if mode == "major" else "c")
    for degree, figure in zip(degrees(row[0]), told, strict=True):
        ours = triad(degree, MODES[mode])
        chord = music21.roman.RomanNumeral(figure.replace("°", "o"), theirs)
        assert {p.name.replace("-", "b") for p in chord.pitches} == {t.name for t in ours.tones}


def triad(degree: int, key: Key) -> Harmony:
    return harmony_on((key.letter + degree) % 7, (), None, key, seventh=False)


def test_names_that_depend_on_what_is_said_besides() -> None:
    said = {row[0]: row[1] for row in rows("What is said besides")}
    assert "parallel six-three chords" in said["in six-three chords"]
    assert make_label(-1, (-1,), (SIX_THREE,)).common_name == "parallel six-three chords"
    turn = "five-three and six-three chords in turn"
    assert "ascending 5-6" in said[turn]
    assert make_label(1, (-2, 3), (turn,)).common_name == "ascending 5-6"
    assert "monte" in said[APPLIED]
    assert "fonte" in said[APPLIED]
    assert make_label(1, (3, -2), (APPLIED,)).common_name == "monte"
    assert make_label(-1, (3, -4), (APPLIED,), fourth_first=True).common_name == "fonte"


def test_the_example_without_a_name() -> None:
    label = make_label(-2, (2, -3, -1))
    assert label.common_name is None
    assert f"{label.text} {label.spoken.split(' and ')[0]}" in PAGE.replace("\n", " ")


def test_c_g_a_e_move_as_a_descending_third() -> None:
    """Common practice: roots C G A E are D3 (D4/A2)."""
    roots = [LETTERS.index(letter) for letter in "CGAE"]
    label = make_label(-2, (roots[1] - roots[0], roots[2] - roots[1]))
    assert label.text == "D3 (D4/A2)"
    assert label.common_name == "descending thirds"
