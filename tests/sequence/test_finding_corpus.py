"""Sequences that stand in music21's bundled corpus, at bars verified by hand.

Scores are read in place, nothing of them is copied. Every find is confirmed by music21: each note
and its image lie the step apart by its own reckoning of diatonic intervals.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import pytest

from livecont.config import load_preferences
from livecont.music.score import Score
from livecont.score.reading import read_score
from livecont.sequence.finding import Find, Search, find_sequences, pairs_in
from tests.corpus import corpus_file

pytest.importorskip("partitura")
music21 = pytest.importorskip("music21")


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Where a sequence begins (bar, beat), its unit in quarters, its step, its links at least."""

    name: str
    place: tuple[str, float]
    unit: float
    step: int
    links: int


# verified by hand in the printed parts; what is heard is told above each
PLACES = (
    # the right hand's scales, each a step lower; the left hand's chords follow them only nearly
    Known(name="fc09d8d3a8", place=("5", 1), unit=4, step=-1, links=4),
    # falling fifths A D G C F# B; first violin and bass exactly, the viola raises the last third
    Known(name="c9b078e497", place=("28", 3), unit=2, step=-1, links=3),
    # falling fifths C F Bb E A D
    Known(name="ad7490f0cb", place=("57", 1), unit=4, step=-1, links=3),
    # falling thirds G F#, E D, C B, A G
    Known(name="2bbe4ab247", place=("21", 2), unit=2, step=-2, links=4),
    # all four, with lower neighbours that are chromatic in some links and diatonic in others
    Known(name="94852598fa", place=("133", 3.5), unit=2, step=1, links=3),
)


@cache
def finds_in(name: str) -> tuple[Score, tuple[Find, ...]]:
    score = read_score(corpus_file(name))
    compass = load_preferences().compasses["modern"]
    return score, find_sequences(score, Search(compass=compass))


@pytest.mark.parametrize("at", PLACES, ids=lambda at: at.name)
def test_sequences_at_places_known(at: Known) -> None:
    score, finds = finds_in(at.name)
    there = [
        find
        for find in finds
        if (score.place(find.start_q).bar, float(score.place(find.start_q).beat)) == at.place
    ]
    assert [(float(f.unit_q), f.step_degrees) for f in there[:1]] == [(at.unit, at.step)]
    assert there[0].links >= at.links


def test_the_falling_fifths_are_in_the_outer_parts() -> None:
    _, finds = finds_in("c9b078e497")
    (found,) = (f for f in finds if f.start_q == 110)
    assert {"Violin I", "Cello"} <= set(found.parts)
    assert "Viola" not in found.parts
    _, finds = finds_in("94852598fa")
    assert ("all",) in [f.parts for f in finds if f.start_q == 530.5]


@pytest.mark.parametrize("name", [known.name for known in PLACES])
def test_music21_confirms_the_step(name: str) -> None:
    """Of all finds, every pair of the last two links: music21's generic interval is the step."""
    score, finds = finds_in(name)
    confirmed = 0
    for find in finds:
        for pair in pairs_in(score, find):
            if pair.earlier is None or pair.later is None:
                continue
            names = (n.spelling.name.replace("b", "-") for n in (pair.earlier, pair.later))
            one, other = (music21.pitch.Pitch(name) for name in names)
            interval = music21.interval.Interval(pitchStart=one, pitchEnd=other)
            away = interval.generic.staffDistance - find.step_degrees
            assert away in (0, 7, -7)  # or an octave besides, where a part leaps
            confirmed += away == 0
    assert confirmed > 20


def test_nothing_is_found_where_no_sequence_is() -> None:
    """A slow movement of 19 bars in three parts: suspensions, but nothing repeated at a step."""
    assert finds_in("64eef2304c")[1] == ()
