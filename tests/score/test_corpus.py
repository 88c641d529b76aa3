"""Scores of music21's bundled corpus, read in place: the same notes as music21 reads.

music21 (BSD licence) is the second library; its corpus is used where it is installed and nothing of
it is copied. Left out are the places where music21 10.5.1 itself goes wrong: it ties notes of
different pitch, leaves chords' ties, and lets parts drift apart where one has a faulty bar.
"""

from __future__ import annotations

import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest

from livecont.score.reading import read_score
from tests.corpus import corpus_file

pytest.importorskip("partitura")
music21 = pytest.importorskip("music21")

PIECES = (
    "64eef2304c",  # a trio sonata, plain MusicXML
    "c9b078e497",  # a quartet, repeats
    "fc09d8d3a8",  # a keyboard, two staves
    "c8fcd2a44d",  # a keyboard, grace notes
    "823310f112",  # **kern, spines that divide
)

Notes = Counter[tuple[Fraction, str]]


def as_music21_reads(path: Path) -> Notes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path, forceSource=True).stripTies()
    found: Notes = Counter()
    for part in score.parts:
        for note in part.flatten().notes:
            if note.duration.isGrace:
                continue
            for pitch in note.pitches:
                name = pitch.nameWithOctave.replace("-", "b")
                found[Fraction(note.offset).limit_denominator(64), name] += 1
    return found


@pytest.mark.parametrize("name", PIECES)
def test_the_notes_are_those_that_music21_reads(name: str) -> None:
    score = read_score(corpus_file(name))
    ours: Notes = Counter((n.onset_q, n.spelling.name) for n in score.notes if not n.grace)
    theirs = as_music21_reads(corpus_file(name))
    assert sum(ours.values()) > 150
    assert ours == theirs


def test_two_formats_of_one_piece_agree() -> None:
    """The corpus has a quartet movement as MusicXML and as **kern, but for some ties."""
    one, other = (read_score(corpus_file(name)) for name in ("b4631a305c", "47e6263a81"))
    assert len(one.bars) == len(other.bars) == 145
    onsets = [
        Counter((n.onset_q, n.spelling.name) for n in score.notes if not n.grace)
        for score in (one, other)
    ]
    assert sum((onsets[0] & onsets[1]).values()) > 0.97 * sum(onsets[0].values())
