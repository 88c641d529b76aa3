"""From a page to the book: sequences of music21's corpus are kept, carried on and heard again."""

from __future__ import annotations

from functools import cache
from itertools import islice
from pathlib import Path

import pytest

from livecont.book.book import Book
from livecont.book.entry import Entry
from livecont.book.line import of_line, to_line
from livecont.book.pattern import entry_of_find, pattern_of
from livecont.book.performance import performed
from livecont.config import load_preferences
from livecont.replay import with_key
from livecont.sequence.chain import Chain
from livecont.sequence.finding import Find, Search, find_sequences, pattern_in
from livecont.sequence.pattern import Pattern
from livecont.sitting.virtual import run, take_overs
from tests.book.volume import NOON
from tests.corpus import corpus_file

pytest.importorskip("partitura")

NAMES = ("fc09d8d3a8", "c9b078e497", "ad7490f0cb", "94852598fa")
SETTINGS = load_preferences().settings


@cache
def kept(name: str) -> tuple[tuple[Find, Pattern, Entry], ...]:
    from livecont.score.reading import read_score

    score = read_score(corpus_file(name))
    finds = find_sequences(score, Search(compass=SETTINGS.compass))
    return tuple(
        (find, pattern_in(score, find), entry_of_find(score, find, NOON)) for find in finds
    )


def chain(pattern: Pattern) -> list[list[str]]:
    links = islice(Chain(pattern=pattern, compass=SETTINGS.compass).links(), 4)
    return [[note.spelling.name for note in link.notes] for link in links]


@pytest.mark.parametrize("name", NAMES)
def test_every_find_goes_on_from_the_book_as_from_the_page(name: str) -> None:
    assert kept(name)
    for find, pattern, entry in kept(name):
        again = of_line(to_line(entry))
        assert again == entry
        assert chain(pattern_of(again)) == chain(pattern)
        assert (entry.links, entry.unit_q) == (find.links, find.unit_q)


def test_what_the_book_plays_the_engine_takes_over() -> None:
    """An entry played by itself is understood: the same step and unit, at its end."""
    entries = [entry for name in NAMES for find, _, entry in kept(name) if find.within is None]
    right = 0
    for entry in entries:
        taken = take_overs(run(with_key(SETTINGS, entry.key), performed(entry, 0.5)))
        right += any(
            one.pattern.step_degrees == entry.step_degrees
            and abs(one.pattern.unit_s / entry.unit_s - 1) < 0.05
            and one.start_s > 0.5 + (entry.links - 0.6) * entry.unit_s
            for one in taken
        )
    assert len(entries) >= 8
    assert right / len(entries) >= 0.9


def test_a_find_is_its_own_twin_in_another_key(tmp_path: Path) -> None:
    from livecont.book.likeness import Likeness

    _, _, entry = kept("c9b078e497")[0]
    with Book(tmp_path / "b") as book:
        first = book.add(entry)
        (twin,) = book.twins(entry)
        assert (twin.entry, twin.likeness) == (first, Likeness.SAME)
