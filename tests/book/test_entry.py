"""Entries: from what was heard and read, to the engine and back, as lines, and within bounds."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import islice

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.book.entry import Entry, checked
from livecont.book.line import of_json, of_line, to_json, to_line
from livecont.book.pattern import entry_of, pattern_of
from livecont.errors import BookError
from livecont.sequence.chain import Chain
from livecont.sequence.finding import pattern_in
from livecont.sequence.pattern import Pattern
from tests.book.volume import NOON, heard, paper_entry, played_entry, printed
from tests.strategies import PIANO


def spelled(pattern: Pattern, count: int) -> list[list[str]]:
    links = islice(Chain(pattern=pattern, compass=PIANO).links(), count)
    return [[note.spelling.name for note in link.notes] for link in links]


def test_what_was_heard_is_carried_on_from_the_book_as_it_would_have_been() -> None:
    pattern = heard()
    again = pattern_of(entry_of(pattern, NOON))
    assert spelled(again, 4) == spelled(pattern, 4)
    assert again.unit_s == pattern.unit_s
    assert [p.heard for p in again.positions] == [p.heard for p in pattern.positions]
    for one, other in zip(again.positions, pattern.positions, strict=True):
        assert one.offset_units == pytest.approx(other.offset_units, abs=1e-6)
        assert one.articulation == pytest.approx(other.articulation, abs=1e-6)
        assert one.velocity == other.velocity


def test_what_was_read_keeps_every_link_exactly() -> None:
    score, find = printed()
    entry = paper_entry()
    kept = sorted(
        ((n.link - 1 + n.onset_units) * find.unit_q + find.start_q, n.length_units * find.unit_q,
         n.spelling, n.staff)
        for n in entry.notes
    )  # fmt: skip
    there = sorted(
        (n.onset_q, n.duration_q, n.spelling, n.staff)
        for n in score.within(find.start_q, find.end_q)
    )
    assert kept == there
    assert entry.links == find.links == 4
    assert entry.unit_q == 4
    assert entry.printed is not None
    assert (entry.printed.beats, entry.printed.beat_type) == (4, 4)


def test_what_was_read_is_carried_on_from_the_book_as_from_the_page() -> None:
    score, find = printed()
    again = pattern_of(paper_entry())
    assert spelled(again, 5) == spelled(pattern_in(score, find), 5)
    assert again.positions == pattern_in(score, find).positions


@pytest.mark.parametrize("make", [played_entry, paper_entry])
def test_an_entry_as_a_line_is_the_same_entry(make: Callable[[], Entry]) -> None:
    entry = replace(
        make(), title='a "line"', remarks="one\ntwo", tags=("fast", "ü"), starred=True, bars="3-4"
    )
    line = to_line(entry)
    assert "\n" not in line
    assert of_line(line) == entry


FIELDS = to_json(paper_entry())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"version": 2}, "version 2"),
        ({"key": "H major"}, "unknown key"),
        ({"key": 3}, '"key"'),
        ({"links": 1}, "number of links"),
        ({"links": 10**12}, "far too large"),
        ({"links": True}, '"links"'),
        ({"unit_s": 0}, "seconds"),
        ({"unit_s": 1e300}, "no number"),
        ({"unit_quarters": "1e999999"}, "no fraction"),
        ({"unit_quarters": "1/0"}, "no fraction"),
        ({"kind": "free"}, "no kind"),
        ({"title": "x" * 501}, "501 signs"),
        ({"title": "\x1b[2J"}, "control signs"),
        ({"tags": "fast"}, '"tags"'),
        ({"tags": ["x"] * 3 + [str(n) for n in range(60)]}, "number of tags"),
        ({"created": "yesterday"}, "no date"),
        ({"notes": []}, "number of notes"),
        ({"notes": [{}]}, '"link" is missing'),
        ({"notes": FIELDS["notes"] * 400}, "the most"),
        ({"pedals": [[0, 1, 2]]}, "controller"),
        ({"pedals": [[0, 64]]}, "three numbers"),
        ({"before": ["C99999999"]}, "no pitch"),
        ({"printed": {"metre": [4, 3], "start_in_bar_quarters": "0", "fifths": 0}}, "note value"),
        ({"tittle": "x"}, "not known"),
    ],
)  # fmt: skip
def test_what_is_no_entry_is_refused_in_one_line(change: dict[str, object], said: str) -> None:
    with pytest.raises(BookError, match=said) as refused:
        of_json({**FIELDS, **change})
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("pitch", "C12", "pitch"),
        ("pitch", "H4", "no pitch"),
        ("velocity", 0, "velocity"),
        ("link", 9, "link"),
        ("onset", "1/3000000000", "finer"),
        ("place", None, "no place"),
        ("place", 1, "two notes"),
    ],
)
def test_a_note_that_is_none_is_refused(field: str, value: object, said: str) -> None:
    notes = json.loads(json.dumps(FIELDS["notes"]))
    of_last = {n["place"]: number for number, n in enumerate(notes) if n["link"] == 4}
    notes[of_last[0]][field] = value
    with pytest.raises(BookError, match=said):
        of_json({**FIELDS, "notes": notes})


@pytest.mark.parametrize("text", ["", "[]", "3", "{", "[" * 100_000, "NaN", '{"version": 1}'])
def test_what_is_no_line_is_refused(text: str) -> None:
    with pytest.raises(BookError):
        of_line(text)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=5,
)


@given(st.sampled_from(sorted(FIELDS)), JSON)
def test_a_field_of_any_kind_gives_an_entry_or_one_line(name: str, value: object) -> None:
    try:
        entry = of_json({**FIELDS, name: value})
    except BookError as error:
        assert "\n" not in str(error)  # noqa: PT017 -- either is right
        return
    assert of_line(to_line(entry)) == entry


def test_a_moment_needs_a_zone() -> None:
    with pytest.raises(BookError, match="time zone"):
        checked(replace(paper_entry(), created=NOON.replace(tzinfo=None)))


def test_lengths_are_kept_as_fractions() -> None:
    triplet = next(note for note in paper_entry().notes if note.onset_units == Fraction(1, 8))
    assert {"onset": "1/8"}.items() <= to_json(paper_entry())["notes"][
        paper_entry().notes.index(triplet)
    ].items()
