"""Lines fit to the cell, wide signs included."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from livecont.screen.glyphs import CAPITALS, NUMERALS, capitals, capitals_width, numerals
from livecont.screen.typeset import (
    Line,
    Run,
    Tone,
    beside,
    clean,
    crop,
    fill,
    line,
    pad,
    spread,
    to_ascii,
    to_height,
    width_of,
)

runs = st.builds(Run, st.text(max_size=12).map(clean), st.sampled_from(Tone))
lines = st.lists(runs, max_size=4).map(tuple)


@given(lines, st.integers(0, 40))
def test_a_padded_line_has_exactly_its_width(runs: Line, width: int) -> None:
    assert width_of(pad(runs, width)) == width
    assert width_of(crop(runs, width)) <= width


@given(lines, lines, st.integers(0, 60))
def test_both_ends_stay_within_the_line(left: Line, right: Line, width: int) -> None:
    assert width_of(spread(left, right, width)) <= width


def test_a_cut_line_says_so() -> None:
    assert crop(line("a long sentence"), 7) == (Run("a long…"),)
    assert crop(line("鍵盤楽器"), 6) == (Run("鍵盤 …"),)


def test_what_fits_is_left_alone() -> None:
    assert crop(line("as it is"), 8) == line("as it is")


def test_columns_stand_beside_each_other() -> None:
    block = beside((line("ab"), line("c")), 4, (line("x"), line("y"), line("z")))
    assert ["".join(run.text for run in runs) for runs in block] == ["ab  x", "c   y", "    z"]


def test_words_are_filled_into_lines() -> None:
    block = fill(["one", "two", "three", "four"], 9)
    assert ["".join(run.text for run in runs) for runs in block] == ["one two", "three", "four"]


def test_heights_are_exact_and_never_negative() -> None:
    assert to_height((line("a"),), 3) == (line("a"), (), ())
    assert to_height((line("a"), line("b")), 1) == (line("a"),)
    assert to_height((line("a"),), -2) == ()


@given(st.text(max_size=40))
def test_cleaned_text_stays_on_its_line(text: str) -> None:
    assert clean(text).isprintable()
    ascii_text = to_ascii(clean(text))
    assert ascii_text.isascii()
    assert len(ascii_text) == len(clean(text))


@pytest.mark.parametrize("sign", list("0123456789ABCDEFG∞"))
def test_each_figure_is_five_lines_high_and_like_no_other(sign: str) -> None:
    block = numerals(sign, Tone.PLAIN)
    assert len(block) == 5
    assert max(map(width_of, block)) <= len(NUMERALS[sign][0])
    others = [numerals(other, Tone.PLAIN) for other in NUMERALS if other != sign]
    assert block not in others


@pytest.mark.parametrize("scale", [1, 2, 3])
def test_scaled_figures_keep_their_proportions(scale: int) -> None:
    block = numerals("48", Tone.PLAIN, scale)
    assert len(block) == 5 * scale
    assert max(map(width_of, block)) == scale * max(map(width_of, numerals("48", Tone.PLAIN)))


def test_there_is_a_capital_for_every_letter_and_accidental() -> None:
    assert set(CAPITALS) == set("ABCDEFGHIJKLMNOPQRSTUVWXYZ♯♭")
    for word in ("livecont", "you", "b♭ mixolydian", "a second down"):
        block = capitals(word, Tone.PLAIN)
        assert len(block) == 4
        assert max(map(width_of, block)) < capitals_width(word)
    assert cell_len("█") == cell_len("▀") == cell_len("▄") == 1
