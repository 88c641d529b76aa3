"""Labels of sequences in music21's bundled corpus; their roots are read by hand from all parts.

Scores are read in place, nothing of them is copied. Where a find is one of the outer parts only,
the inner parts, that alter a note for the last cadence, have no say.
"""

from __future__ import annotations

import pytest

from livecont.config import load_preferences
from livecont.score.reading import read_score
from livecont.sequence.analysis import analysed, numerals_at
from livecont.sequence.endings_course import Course
from livecont.sequence.finding import Search, find_sequences, pattern_in
from tests.corpus import corpus_file

pytest.importorskip("partitura")


@pytest.mark.parametrize(
    ("name", "bar", "key", "numerals"),
    [
        # A D G C F# B, of which a pattern has the last two links; the dominant's raised third is in
        # an inner part that does not take part
        ("c9b078e497", "28", "e minor", ("III", "VI", "ii°", "v")),
        # C F Bb E A D; the signature is another key's
        ("ad7490f0cb", "57", None, ()),
    ],
)
def test_falling_fifths_are_named(
    name: str, bar: str, key: str | None, numerals: tuple[str, ...]
) -> None:
    score = read_score(corpus_file(name))
    compass = load_preferences().compasses["modern"]
    finds = find_sequences(score, Search(compass=compass, least_links=3))
    (found,) = (f for f in finds if score.place(f.start_q).bar == bar and f.within is None)
    assert (found.label, found.doubt) == ("D2 (D5/A4)", None)
    if key is None:
        return
    assert found.key.name == key
    pattern = pattern_in(score, found)
    analysis, course = analysed(pattern), Course(pattern)
    heard = [
        numeral.rstrip("7")
        for number in (analysis.link, analysis.link + 1)
        for numeral in numerals_at(analysis, course, number)
    ]
    assert tuple(heard) == numerals
