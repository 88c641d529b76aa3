"""Which sequence is meant by some bars, and entries of the book back on paper."""

from __future__ import annotations

from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import pytest

from livecont.book.pattern import entry_of, entry_of_find
from livecont.errors import ScoreError
from livecont.music.key import parse_key
from livecont.passages import Whereabouts, found_in, passage_of_entry
from livecont.score.reading import read_score
from livecont.sequence.extending import Wish, extend
from livecont.sequence.extending_paper import passage_of
from livecont.sequence.finding import Search, find_sequences
from tests.strategies import PIANO

pytest.importorskip("partitura")

STUDY = Path(__file__).resolve().parent.parent / "configs" / "examples" / "study.musicxml"
NOW = datetime(2026, 11, 25, tzinfo=UTC)


def bars(found: object) -> tuple[str, str]:
    one = found.listed  # type: ignore[attr-defined]
    return one.start.bar, one.end.bar


def test_the_bars_say_which() -> None:
    first = found_in(STUDY, Whereabouts(bars=("3", "5")), PIANO)
    second = found_in(STUDY, Whereabouts(bars=("8", "12")), PIANO)
    assert (bars(first), bars(second)) == (("3", "5"), ("9", "11"))
    assert (first.others, second.others) == ((), ())
    # what lies before in these bars comes along, unless it is not wanted
    assert second.passage.start_q == 4
    without = found_in(STUDY, Whereabouts(bars=("8", "12"), lead_in=False), PIANO)
    assert without.passage.start_q == 0


def test_of_several_the_one_that_fills_the_bars_best() -> None:
    both = found_in(STUDY, Whereabouts(bars=("4", "11")), PIANO)
    assert bars(both) == ("9", "11")
    assert [one.start.bar for one in both.others] == ["3"]


def test_another_key() -> None:
    found = found_in(STUDY, Whereabouts(bars=("3", "5"), key=parse_key("a minor")), PIANO)
    assert found.passage.pattern.key == parse_key("a minor")


def test_none_is_said() -> None:
    with pytest.raises(ScoreError, match=r"study\.musicxml: no sequence in bars 1-2, staff 2"):
        found_in(STUDY, Whereabouts(bars=("1", "2"), staff=2), PIANO)


def test_an_entry_from_a_page_is_what_stood_there() -> None:
    score = read_score(STUDY)
    find = find_sequences(score, Search(compass=PIANO))[0]
    entry, printed = passage_of_entry(entry_of_find(score, find, NOW)), passage_of(score, find)
    assert entry.score.notes == printed.score.notes
    assert entry.templates == printed.templates
    assert [entry.start_q, entry.unit_q, Fraction(entry.links)] == [Fraction(n) for n in (0, 4, 3)]
    wish = Wish(compass=PIANO, links=2)
    assert extend(entry, wish).score.notes == extend(printed, wish).score.notes


def test_an_entry_from_playing_is_written_down() -> None:
    score = read_score(STUDY)
    find = find_sequences(score, Search(compass=PIANO))[0]
    played = passage_of_entry(entry_of(passage_of(score, find).pattern, NOW))
    assert played.links == 2
    assert played.unit_q == 4
    wanted = sorted(n.spelling for n in score.notes if 12 <= n.onset_q < 20)
    assert sorted(n.spelling for n in played.score.notes) == wanted
