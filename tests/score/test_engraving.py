"""The engraved page: every note, new links told apart, numerals, and nothing from elsewhere."""

from __future__ import annotations

import re
import sys
from fractions import Fraction
from functools import cache

import pytest
from lxml import etree

from livecont.errors import ConfigError
from livecont.score.engraving import engraved
from livecont.score.engraving_marks import GROUND, NEW, numeral_at, width_of
from livecont.score.engraving_page import Heading
from livecont.score.engraving_sheet import Sheet, sheet_of
from livecont.score.writing import musicxml_of
from livecont.score.writing_notes import Look
from livecont.sequence.endings import Ending
from livecont.sequence.extending import Extension, Wish, extend
from livecont.sequence.extending_paper import passage_of
from livecont.sequence.extending_told import Told, told_of, with_main_notes
from tests.score.page import notes_on, pitches_of, pitches_on
from tests.sequence.paper import BASS, ELSE, ELSE_BASS, FIGURE, find, links, paper
from tests.strategies import PIANO

pytest.importorskip("verovio")

HANDS = paper(
    f"{links(FIGURE, -1, 3)} {ELSE} {ELSE}", f"{links(BASS, -1, 3)} {ELSE_BASS} {ELSE_BASS}"
)
HEADING = Heading(title="A study", where="bars 1-3", label="D2 (D5/A4)", facts=("tonal",))


@cache
def extension(new: int, ending: Ending | None = Ending.STOP) -> tuple[Extension, Told]:
    one = next(one for one in find(HANDS) if one.within is None)
    longer = extend(passage_of(HANDS, one), Wish(compass=PIANO, links=new, ending=ending))
    return longer, told_of(longer)


@cache
def sheet(new: int, ending: Ending | None = Ending.STOP, main: bool = True) -> Sheet:
    return sheet_of(*extension(new, ending), HEADING, main=main)


@pytest.mark.parametrize("ending", [None, *Ending])
def test_every_note_is_on_the_page(ending: Ending | None) -> None:
    longer, told = extension(4, ending)
    page = sheet(4, ending)
    wanted = pitches_of(with_main_notes(longer.score, told).notes)
    assert pitches_on(page.html) == wanted
    assert pitches_on(page.svg) == wanted


def test_new_links_differ_by_colour_bracket_and_ground() -> None:
    longer, told = extension(4)
    page = sheet(4)
    new = [
        note
        for note in with_main_notes(longer.score, told).notes
        if any(span.start_q <= note.onset_q < span.end_q for span in longer.new)
    ]
    coloured = [note for note in notes_on(page.html) if note.get("color") == NEW]
    assert len(coloured) == len(new)
    assert page.html.count(f'fill="{GROUND}"') >= 4
    heavy = re.findall(rf'<path d="[^"]*" stroke="{NEW}" stroke-width="64"', page.html)
    thin = re.findall(r'<path d="[^"]*" stroke="#555555" stroke-width="20"', page.html)
    assert (len(heavy), len(thin)) == (4, 3)
    words = re.findall(r'<text class="link (\w+)"[^>]*>([^<]*)<', page.html)
    assert words == [
        ("given", "model"), ("given", "link 2"), ("given", "link 3"),
        *(("new", f"link {number}, new") for number in range(4, 8)),
    ]  # fmt: skip
    assert "new links</li>" in page.html


def test_without_new_links_nothing_says_new() -> None:
    page = sheet(0)
    assert "new links</li>" not in page.html
    assert GROUND not in page.html.partition("</style>")[2]
    assert NEW not in page.html.partition("</style>")[2]


def test_numerals_stand_under_their_notes() -> None:
    longer, told = extension(4)
    page = sheet(4)
    drawn = re.findall(r'data-numeral="([^"]*)"', page.html)
    assert drawn == [numeral.text for numeral in told.numerals]
    assert len(drawn) >= 7
    for numeral in told.numerals:
        assert any(note.onset_q == numeral.at_q for note in longer.score.notes)


def test_main_notes_can_be_left_out() -> None:
    longer, _ = extension(2)
    page = sheet(2, main=False)
    assert pitches_on(page.html) == pitches_of(longer.score.notes)
    assert "main notes" not in page.html


def test_nothing_comes_from_elsewhere() -> None:
    for text in (sheet(4).html, sheet(4).svg):
        outside = re.findall(r"(?:href|src|url)\s*[=(]\s*[\"']?([^\"')>\s]*)", text)
        assert all(target.startswith("#") for target in outside)
        assert "<script" not in text
        assert "@import" not in text
        assert set(re.findall(r"https?://[^\"'\s<]*", text)) <= {"http://www.w3.org/2000/svg"}
    assert "default-src 'none'" in sheet(4).html
    # every glyph that is used is in the file
    used = set(re.findall(r'href="#([^"]*)"', sheet(4).html))
    known = set(re.findall(r'id="([^"]*)"', sheet(4).html))
    assert used
    assert used <= known


def test_svg_is_whole_and_holds_all_of_its_ink() -> None:
    root = etree.fromstring(sheet(4).svg.encode("utf-8"))
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    _, _, width, height = map(float, root.get("viewBox").split())
    assert width == pytest.approx(20_000)
    assert height > 4000


def test_words_from_files_are_harmless() -> None:
    bad = Heading(title="<script>alert(1)</script>", where="a & b", facts=('"><img src=x>',))
    page = sheet_of(*extension(1), bad)
    assert "<script" not in page.html
    assert "<img" not in page.html
    assert "&lt;script&gt;" in page.html
    etree.fromstring(page.svg.encode("utf-8"))


def test_the_same_score_is_the_same_page() -> None:
    again = sheet_of(*extension(4), HEADING)
    assert again == sheet(4)


def test_without_the_library_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "verovio", None)
    with pytest.raises(ConfigError, match=r"needs verovio: pip install 'livecont\[sheet\]'"):
        sheet_of(*extension(1), HEADING)


def test_systems_tell_where_bars_and_notes_stand() -> None:
    names = {note: f"n{index}" for index, note in enumerate(HANDS.notes)}
    drawn = engraved(musicxml_of(HANDS, look=Look(ids=names)))
    assert sum(len(system.measures) for system in drawn.systems) == len(HANDS.bars)
    first = drawn.systems[0]
    assert len(first.staves) == 2
    assert first.top <= first.staves[0].top < first.staves[1].bottom <= first.bottom
    placed = [(note.onset_q, first.notes[name][0]) for note, name in names.items()
              if name in first.notes and note.staff == 1]  # fmt: skip
    assert placed == sorted(placed)
    for measure, following in zip(first.measures, first.measures[1:], strict=False):
        assert measure.left < measure.first_x < measure.right <= following.left + 1


def test_figures_are_stacked() -> None:
    drawn = numeral_at(0, 1000, "viiø6/5/ii")
    texts = re.findall(r'x="(\d+)" y="(\d+)"[^>]*>([^<]+)<', drawn)
    assert [text for _, _, text in texts] == ["viiø", "6", "5", "/ii"]
    assert texts[1][0] == texts[2][0]
    assert int(texts[1][1]) < int(texts[2][1])
    assert int(texts[0][0]) < int(texts[1][0]) < int(texts[3][0])
    assert width_of("viiø6/5") > width_of("V") > 0
    assert "?!" in numeral_at(0, 0, "?!")  # what is no numeral is written as it is


def test_a_page_from_many_parts() -> None:
    parts = ("Violin I", "Violin II", "Viola", "Cello")
    quartet = paper(*(links(FIGURE if n < 2 else BASS, -1, 3) for n in range(4)), parts=parts)
    one = next(one for one in find(quartet) if one.within is None)
    longer = extend(passage_of(quartet, one), Wish(compass=PIANO, links=1))
    page = sheet_of(longer, told_of(longer), HEADING)
    assert all(name in page.html for name in parts)


def test_triplets_and_ties_are_drawn() -> None:
    model = "C5/1/3 E5/1/3 D5/1/3 B4/3/2 G4/1/2 A4/1 F4/5/2 G4/1/2 E4/1"
    score = paper(f"{links(model, -1, 3)}", beats=4)
    one = next(one for one in find(score) if one.within is None)
    assert one.unit_q == Fraction(8)
    longer = extend(passage_of(score, one), Wish(compass=PIANO, links=1))
    page = sheet_of(longer, told_of(longer), HEADING, main=False)
    assert 'class="tuplet"' in page.html
    assert 'class="tie"' in page.html
    assert pitches_on(page.html) == pitches_of(longer.score.notes)
