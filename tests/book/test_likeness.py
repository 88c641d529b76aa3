"""Which entries are the same sequence, somewhere else."""

from __future__ import annotations

from pathlib import Path

import pytest

from livecont.book.book import Book
from livecont.book.entry import Entry
from livecont.book.likeness import Likeness, figure_of, likeness
from livecont.book.pattern import entry_of, entry_of_find
from livecont.sequence.finding import Search, find_sequences
from tests.book.volume import NOON, hear, paper_entry, played_entry
from tests.sequence.paper import BASS, FIGURE, links, moved, paper
from tests.sitting.material import LINKS
from tests.strategies import PIANO

IN_G = "B5.G4 D6 E5.C4 F#5 G5.E4 C6 A5.F#4 D5 A5.F#4 C6 D5.B3 E5 F#5.D4 B5 G5.E4 C5"


def on_paper(up: int = 0, upper: str = FIGURE) -> Entry:
    score = paper(moved(links(upper, -1, 4), up), moved(links(BASS, -1, 4), up))
    return entry_of_find(score, find_sequences(score, Search(compass=PIANO))[0], NOON)


def test_the_same_played_twice() -> None:
    slower = entry_of(hear(" ".join(LINKS[:2]), "C major", 0.37), NOON)
    assert likeness(played_entry(), slower) is Likeness.SAME


def test_the_same_in_another_key() -> None:
    in_g = entry_of(hear(IN_G, "G major"), NOON)
    assert likeness(played_entry(), in_g) is Likeness.MOVED


def test_the_same_chain_some_links_on() -> None:
    later = entry_of(hear(" ".join(LINKS[2:4]), "C major"), NOON)
    assert likeness(played_entry(), later) is Likeness.CHANGED


def test_the_same_begun_in_the_middle_of_the_link() -> None:
    words = " ".join(LINKS[:3]).split()
    turned = entry_of(hear(" ".join(words[2:18]), "C major"), NOON)
    assert likeness(played_entry(), turned) in (Likeness.SAME, Likeness.MOVED)


@pytest.mark.parametrize("up", [0, 2, 7, -3])
def test_on_paper_somewhere_else(up: int) -> None:
    expected = {0: Likeness.SAME, 7: Likeness.MOVED}.get(up, Likeness.CHANGED)
    assert likeness(paper_entry(), on_paper(up)) is expected


def test_another_figure_rhythm_or_step_is_another_sequence() -> None:
    other = on_paper(upper="C5/1/2 E5/1/2 D5/1/2 B4/1/2 C5/1/2 G4/1/2 B4/1")
    assert likeness(paper_entry(), other) is None
    dotted = on_paper(upper="C5/3/4 E5/1/4 D5/1/2 B4/1/2 C5/1/2 G4/1/2 A4/1")
    assert figure_of(dotted) == figure_of(paper_entry())
    assert likeness(paper_entry(), dotted) is None
    assert likeness(paper_entry(), played_entry()) is None


def test_the_book_points_them_out_the_most_alike_first(tmp_path: Path) -> None:
    with Book(tmp_path / "b") as book:
        book.add_all((on_paper(2), on_paper(7), played_entry(), on_paper(0)))
        twins = book.twins(paper_entry())
        assert [(twin.entry.number, twin.likeness) for twin in twins] == [
            (4, Likeness.SAME), (2, Likeness.MOVED), (1, Likeness.CHANGED),
        ]  # fmt: skip
        assert [twin.entry.number for twin in book.twins(book.get(1))] == [2, 4]
        (group,) = book.same()
        assert (group[0].number, [twin.entry.number for twin in group[1]]) == (1, [2, 4])
        book.add(played_entry())
        assert [first.number for first, _ in book.same()] == [1, 3]
