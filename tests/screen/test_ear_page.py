"""The page of lessons and games: it fits every size, and says everything without colour."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from livecont.screen.ear_glyphs import LINE_HEIGHT, sentence, word_width
from livecont.screen.ear_page import render_ear
from livecont.screen.ear_stage import EarStage, plain_ear_lines
from livecont.screen.ear_view import Beside, EarView, Turn
from livecont.screen.typeset import Tone, width_of

TOLD = EarView(
    title="the third link",
    who="Kim",
    turn=Turn.TOLD,
    big="not yet",
    said=("14 of 16 notes right", "A♭4 instead of A4"),
    beside=(
        Beside(due="F3+C4", played="F3+C4", fault=False),
        Beside(due="A4", played="A♭4", fault=True),
    ),
    hints=(("space, pedal", "go on"), ("q", "quit")),
    marks=(True, True, False),
    level=7,
    top=12,
    number=3,
    of=20,
)
CHOICES = EarView(
    title="its name",
    who="Kim",
    turn=Turn.YOURS,
    big="name it",
    said=("type the number",),
    choices=(("1", "D2 (D5/A4): descending fifths"), ("2", "A2 (D3/A4): ascending seconds")),
    typed="1",
)

texts = st.text(max_size=30)
views = st.builds(
    EarView,
    title=texts,
    who=texts,
    turn=st.sampled_from(list(Turn)),
    big=st.one_of(texts, st.sampled_from(["listen", "D2", "17", "a second down", "F♯ E"])),
    said=st.lists(texts, max_size=6).map(tuple),
    beside=st.lists(
        st.builds(Beside, due=texts, played=texts, fault=st.booleans()), max_size=12
    ).map(tuple),
    rows=st.lists(st.tuples(texts, texts), max_size=3).map(tuple),
    choices=st.lists(st.tuples(texts, texts), max_size=5).map(tuple),
    hints=st.lists(st.tuples(texts, texts), max_size=6).map(tuple),
    bar=st.one_of(st.none(), st.floats(-1, 2)),
    marks=st.lists(st.booleans(), max_size=40).map(tuple),
    message=st.one_of(st.none(), texts),
    typed=st.one_of(st.none(), st.sampled_from(["1", "12"])),
)


def text_of(view: EarView, width: int, height: int) -> str:
    sheet = render_ear(view, width=width, height=height)
    return "\n".join("".join(run.text for run in runs) for runs in sheet.lines)


@given(views, st.integers(1, 220), st.integers(1, 70))
def test_a_page_is_as_high_as_the_terminal_and_no_wider(
    view: EarView, width: int, height: int
) -> None:
    sheet = render_ear(view, width=width, height=height)
    assert len(sheet.lines) == height
    assert all(width_of(runs) <= width for runs in sheet.lines)


def test_a_verdict_says_everything_in_words_and_brackets() -> None:
    page = text_of(TOLD, 80, 24)
    said = ("14 of 16 notes right", "A♭4 instead of A4", "[A♭4]", "the verdict")
    around = ("the third link", "Kim", "3 of 20 · level 7 of 12", "●●○", "go on", "quit")
    for words in (*said, *around):
        assert words in page


def test_a_long_verdict_is_whole_on_a_small_terminal() -> None:
    """Nearly all wrong, and a link of many chords: the word of the moment makes room."""
    said = ("2 of 16 notes right", *(f"C{n} was missing" for n in range(4)), "and 10 more")
    chords = tuple(Beside(due=f"C{n}+E{n}+G{n}", played=f"C{n}+-+-", fault=True) for n in range(9))
    page = text_of(replace(TOLD, said=said, beside=chords), 80, 24)
    for words in ("NOT YET", *said, "[C8+-+-]", "C8+E8+G8", "quit"):
        assert words in page


def test_a_large_page_sets_what_is_said_in_large_letters() -> None:
    page = text_of(TOLD, 200, 60)
    assert "14 of 16 notes right" not in page
    assert page.count("█") > 3 * text_of(TOLD, 80, 24).count("█")
    assert "[A♭4]" in page


def test_choices_stay_readable_at_both_sizes() -> None:
    assert "1  D2 (D5/A4): descending fifths" in text_of(CHOICES, 80, 24)
    large = text_of(CHOICES, 200, 60)
    assert "descending fifths" in large
    assert "D2 (D5/A4)" not in large  # it is drawn


@pytest.mark.parametrize("text", ["D2 (D5/A4): 100 %", "what is it?", "it's F♯4, [B♭3] + C4 - ok."])
def test_whole_sentences_can_be_large(text: str) -> None:
    block = sentence(text, Tone.PLAIN, 400)
    assert len(block) == LINE_HEIGHT
    narrow = sentence(text, Tone.PLAIN, max(word_width(word) for word in text.split()))
    assert (len(narrow) + 1) % (LINE_HEIGHT + 1) == 0
    assert len(narrow) > len(block)


def test_plain_lines_are_ascii_and_written_once() -> None:
    written = io.StringIO()
    with EarStage(Console(file=written)) as stage:
        stage.show(TOLD)
        stage.show(TOLD)
        stage.show(CHOICES)
    lines = written.getvalue().splitlines()
    assert lines[0] == "the third link 3, Kim: not yet"
    assert lines[: len(plain_ear_lines(TOLD))] == list(plain_ear_lines(TOLD))
    assert "  played: F3+C4 [Ab4]" in lines
    assert "  1: D2 (D5/A4): descending fifths" in lines
    assert len(lines) == len(plain_ear_lines(TOLD)) + len(plain_ear_lines(CHOICES))
    assert written.getvalue().isascii()


def test_without_colour_the_same_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    written = io.StringIO()
    console = Console(file=written, force_terminal=True, width=80, height=24)
    console.print(render_ear(TOLD, width=80, height=24))
    assert "\x1b[38" not in written.getvalue()
    assert "[A♭4]" in written.getvalue()
