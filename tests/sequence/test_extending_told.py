"""Which note is which, numerals and main notes of every link, new ones among them."""

from __future__ import annotations

from fractions import Fraction
from functools import cache

from livecont.music.numeral import numerals
from livecont.music.score import Score
from livecont.sequence.analysis import harmonies_at
from livecont.sequence.endings import Ending
from livecont.sequence.endings_course import Course
from livecont.sequence.extending import Extension, Whose, Wish, extend
from livecont.sequence.extending_paper import passage_of
from livecont.sequence.extending_told import MAIN_NOTES, spelled_in, told_of, with_main_notes
from tests.sequence.paper import ELSE, ELSE_BASS, find, links, paper
from tests.strategies import PIANO

# falling fifths in C major, a chord a half bar: roots C F, B E, A D
MODEL = "E4+G4+C5/2 F4+A4+C5/2"
ROOTS = "C3/2 F3/2"


@cache
def carried(ending: Ending | None = Ending.STOP, new: int = 4) -> Extension:
    score: Score = paper(
        f"{links(MODEL, -1, 3)} {ELSE} {ELSE}", f"{links(ROOTS, -1, 3)} {ELSE_BASS} {ELSE_BASS}"
    )
    one = next(one for one in find(score) if one.within is None and one.unit_q == 4)
    return extend(passage_of(score, one), Wish(compass=PIANO, links=new, ending=ending))


def test_falling_fifths_and_their_numerals() -> None:
    told = told_of(carried())
    assert told.analysis.label is not None
    assert told.analysis.label.text == "D2 (D5/A4)"
    assert told.analysis.label.common_name == "descending fifths"
    # the circle of fifths in major, as the handbooks have it
    assert [numeral.text for numeral in told.numerals] == [
        "I", "IV", "vii°", "iii", "vi", "ii", "V", "I", "IV", "vii°", "iii", "vi", "ii", "V",
    ]  # fmt: skip
    assert [numeral.at_q for numeral in told.numerals] == [Fraction(2 * n) for n in range(14)]


def test_every_position_has_its_image_in_every_link() -> None:
    for ending in (Ending.STOP, Ending.FOLD, Ending.TURN, None):
        longer = carried(ending)
        for span in longer.spans:
            if span.whose in (Whose.PIECE, Whose.CADENCE):
                continue
            spelled = spelled_in(longer, span)
            assert None not in spelled
            assert sorted(s for s in spelled if s is not None) == sorted(
                note.spelling for note in longer.moving(span)
            )


def test_main_notes_are_notes_of_the_link_and_fill_it() -> None:
    longer = carried()
    told = told_of(longer)
    score = with_main_notes(longer.score, told)
    assert score.parts[-1].name == MAIN_NOTES
    assert len(score.notes) == len(longer.score.notes) + len(told.main)
    for span in longer.spans:
        main = [n for n in told.main if span.start_q <= n.onset_q < span.end_q]
        sounding = {n.spelling for n in longer.of(span)}
        assert {n.spelling for n in main} <= sounding
        bass = [n for n in main if n.voice == 1]
        assert sum(n.duration_q for n in bass) == longer.passage.unit_q
        assert [n.spelling.name for n in bass] == [
            n.spelling.name for n in longer.of(span) if n.staff == 2
        ]
        assert {n.staff for n in bass} == {2}


def test_a_cadence_ends_on_the_tonic() -> None:
    longer = carried(Ending.CLOSE)
    assert longer.spans[-1].whose is Whose.CADENCE
    told = told_of(longer)
    assert told.numerals[-1].text == "I"
    assert told.numerals[-2].text.startswith("V")
    assert told.numerals[-1].at_q == max(n.onset_q for n in longer.score.notes)


def test_the_piece_that_goes_on_has_no_numerals() -> None:
    longer = carried(None)
    piece = longer.spans[-1]
    assert piece.whose is Whose.PIECE
    assert all(numeral.at_q < piece.start_q for numeral in told_of(longer).numerals)


def test_numerals_are_those_that_the_live_engine_tells() -> None:
    """Of the links heard: the same roots, inversions and sevenths, suspensions left aside."""
    longer = carried()
    told = told_of(longer)
    pattern = longer.passage.pattern
    course = Course(pattern)
    for number in (pattern.links_heard - 1, pattern.links_heard):
        span = next(span for span in longer.spans if span.number == number)
        following = harmonies_at(told.analysis, course, number + 1)[0]
        known = numerals(harmonies_at(told.analysis, course, number), pattern.key, following)
        mine = [n.text for n in told.numerals if span.start_q <= n.at_q < span.end_q]
        assert mine == list(known)
