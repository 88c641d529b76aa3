"""**kern: ties in chords, repeats, dividing spines, parts and staves; music21 reads the same."""

from __future__ import annotations

import warnings
from collections import Counter
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.errors import ScoreError
from livecont.score.kern import read_kern
from livecont.score.reading import read_score
from livecont.score.untrusted import humdrum_lines
from tests.corpus import CORPUS
from tests.score.written import told, write

music21 = pytest.importorskip("music21")


def kern(*rows: str) -> str:
    return "\n".join(row.replace("  ", "\t") for row in rows) + "\n"


def notes(folder: Path, *rows: str) -> list[str]:
    return told(read_score(write(folder, kern(*rows), "piece.krn")).notes)


def test_ties_in_chords(tmp_path: Path) -> None:
    found = notes(
        tmp_path, "**kern", "=1", "2c [2e", "2d 2e_", "=2", "2c 2e]", "[2g", "=3", "1g]", "*-"
    )
    assert found == ["0 C4 2", "0 E4 6", "2 D4 2", "4 C4 2", "6 G4 6"]


def test_a_tie_that_leads_nowhere_is_none(tmp_path: Path) -> None:
    assert notes(tmp_path, "**kern", "[4c", "4d", "4c]", "*-") == ["0 C4 1", "1 D4 1", "2 C4 1"]


def test_repeats_and_bars(tmp_path: Path) -> None:
    rows = (
        "**kern",
        "*M3/4",
        "4g",
        "=1",
        "2.c",
        "=2:|!|:",
        "4d",
        "4e",
        "=:|!",
        "4f",
        "=3",
        "2.g",
        "==",
        "*-",
    )
    score = read_score(write(tmp_path, kern(*rows), "piece.krn"))
    assert [(b.number, str(b.length_q), b.pickup) for b in score.bars] == [
        ("0", "1", True), ("1", "3", False), ("2", "2", False), ("2", "1", True), ("3", "3", False),
    ]  # fmt: skip
    assert [(str(r.start_q), str(r.end_q)) for r in score.repeats] == [("0", "4"), ("4", "6")]


def test_spines_divide_and_join(tmp_path: Path) -> None:
    rows = ("**kern", "=1", "4c", "*^", "2e  4c", ".  4d", "*v  *v", "4g", "=2", "*-")
    score = read_score(write(tmp_path, kern(*rows), "piece.krn"))
    assert told(score.notes) == ["0 C4 1", "1 E4 2", "1 C4 1", "2 D4 1", "3 G4 1"]
    assert [n.voice for n in score.notes] == [1, 1, 2, 2, 1]


def test_signs_change_on_the_way(tmp_path: Path) -> None:
    rows = (
        "**kern  **kern", "*k[b-e-]  *k[b-e-]", "*g:  *g:", "*M4/4  *M4/4", "1BB-  1dd", "=2  =2",
        "*k[]  *k[]", "*M3/2  *M3/2", "1.C  1.cc", "*-  *-",
    )  # fmt: skip
    score = read_score(write(tmp_path, kern(*rows), "piece.krn"))
    assert [(str(s.at_q), s.fifths, s.mode) for s in score.signatures] == [
        ("0", -2, "minor"), ("4", 0, None),
    ]  # fmt: skip
    assert [(str(m.at_q), m.beats, m.beat_type) for m in score.meters] == [
        ("0", 4, 4), ("4", 3, 2),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("heads", "parts"),
    [
        (('*I"Piano  *I"Piano',), [("Piano", 2)]),
        (("*Icemba  *Icemba",), [("cemba", 2)]),
        (("*part1  *part1", '*I"Lute  *I"Lute'), [("Lute", 2)]),
        (('*I"Violin  *I"Violin',), [("Violin 1", 1), ("Violin 2", 1)]),
        (('*I"Bass  *I"Treble',), [("Treble", 1), ("Bass", 1)]),
        ((), [("part 1", 2)]),
    ],
)
def test_parts_and_staves(
    heads: tuple[str, ...], parts: list[tuple[str, int]], tmp_path: Path
) -> None:
    rows = ("**kern  **kern", *heads, "1C  1cc", "*-  *-")
    score = read_score(write(tmp_path, kern(*rows), "piece.krn"))
    assert [(part.name, part.staves) for part in score.parts] == parts
    top = next(n for n in score.notes if n.spelling.octave == 5)
    assert (top.part, top.staff) == (0, 1)


def test_durations_grace_notes_and_other_spines(tmp_path: Path) -> None:
    rows = (
        "**text  **kern  **dynam", "la  0c  p", ".  .  f", ".  12d  .", ".  12e  .", ".  12f  .",
        ".  qg  .", ".  4..a  .", ".  16r  .", ".  3%2b  .", "*-  *-  *-",
    )  # fmt: skip
    third = Fraction(1, 3)
    assert notes(tmp_path, *rows) == [
        "0 C4 8", "8 D4 1/3", f"{8 + third} E4 1/3", f"{8 + 2 * third} F4 1/3", "9 G4 0",
        "9 A4 7/4", "11 B4 8/3",
    ]  # fmt: skip


def kern_files(count: int) -> list[Path]:
    """Some of the corpus's **kern files, evenly from all of them."""
    every = sorted(CORPUS.rglob("*.krn"))
    return every[:: max(1, len(every) // count)][:count]


@pytest.mark.parametrize("number", range(12))
def test_music21_reads_the_same(number: int) -> None:
    """Onset, length and spelling of every note, in files of music21's bundled corpus."""
    path = kern_files(12)[number]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        whole = music21.converter.parse(path, forceSource=True).stripTies()
    second = Counter(
        (
            Fraction(element.getOffsetInHierarchy(whole)).limit_denominator(200),
            Fraction(element.duration.quarterLength).limit_denominator(200),
            pitch.nameWithOctave.replace("-", "b"),
        )
        for element in whole.recurse().notes
        if not element.duration.isGrace
        for pitch in element.pitches
    )
    ours = Counter(
        (n.onset_q.limit_denominator(200), n.duration_q.limit_denominator(200), n.spelling.name)
        for n in read_score(path).notes
        if not n.grace
    )
    assert ours == second
    assert ours


CELLS = st.sampled_from(
    ["4c", ".", "*", "*^", "*v", "*-", "*x", "*+", "=1", "=:|!", "[8dd", "8dd]", "qe", "2.r",
     "*M3/4", "*k[f#]", "**kern", "**text", "0", "00000c", "1%0c", "4c 4e", "4C#_", "", "*I\"x"]
)  # fmt: skip


@given(rows=st.lists(st.lists(CELLS, min_size=1, max_size=3), max_size=12))
@settings(max_examples=200)
def test_nothing_worse_than_one_line_comes_of_it(rows: list[list[str]]) -> None:
    text = "\n".join(["**kern", *("\t".join(row) for row in rows)])
    try:
        score = read_kern(humdrum_lines(text.encode()))
    except ScoreError:
        return  # said, in one line
    assert all(n.onset_q <= n.end_q for n in score.notes)
    assert all(a.end_q == b.start_q for a, b in pairwise(score.bars))
