"""Entries played: every key that goes down comes up before it goes down again, in its own time."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.book.entry import BookNote, Entry, checked
from livecont.book.likeness import Likeness, figure_of, likeness
from livecont.book.pattern import pattern_of
from livecont.book.performance import end_s, links_performed, performed
from livecont.music.key import parse_key
from livecont.music.pitch import Spelling
from livecont.sequence.chain import Chain
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sequence.pattern import Kind, PedalMark
from tests.book.volume import NOON, paper_entry, played_entry
from tests.strategies import PIANO

UNIT = Fraction(1, 12)


@st.composite
def entries(draw: st.DrawFn) -> Entry:
    """Entries of two links of any notes, the second an image of the first in C major."""
    step = draw(st.integers(-3, 3))
    onsets = draw(st.lists(st.integers(-1, 11), min_size=2, max_size=9))
    notes = []
    for place, onset in enumerate(onsets):
        staff = draw(st.integers(21, 42))
        length = draw(st.integers(1, 14))
        notes += [
            BookNote(
                link=link,
                place=place,
                onset_units=onset * UNIT,
                length_units=length * UNIT,
                spelling=Spelling(staff + (link - 1) * step, 0),
                velocity=draw(st.integers(1, 127)),
            )
            for link in (1, 2)
        ]
    return checked(
        Entry(
            unit_s=draw(st.floats(0.6, 8)),  # faster notes are one chord to whoever plays them
            step_degrees=step,
            shift_semitones=None,
            kind=Kind.TONAL,
            key=parse_key("C major"),
            links=2,
            notes=tuple(notes),
            created=NOON,
            unit_q=draw(st.sampled_from((None, Fraction(3)))),
        )
    )


def strokes(events: tuple[PlayerEvent, ...]) -> dict[int, list[tuple[float, float]]]:
    """When each key is down; fails where one goes down twice, or stays down."""
    down: dict[int, float] = {}
    found: dict[int, list[tuple[float, float]]] = {}
    for event in events:
        if isinstance(event, KeyDown):
            assert event.pitch not in down
            down[event.pitch] = event.at_s
        elif isinstance(event, KeyUp):
            found.setdefault(event.pitch, []).append((down.pop(event.pitch), event.at_s))
    assert not down
    return found


@given(entries())
def test_keys_go_down_and_come_up_in_turn(entry: Entry) -> None:
    events = performed(entry, 0.5)
    times = [event.at_s for event in events]
    assert times == sorted(times)
    assert times[0] == pytest.approx(0.5, abs=entry.unit_s)
    assert times[0] >= 0.5 - 1e-9
    found = strokes(events)
    assert set(found) == {note.spelling.midi for note in entry.notes}
    for spans in found.values():
        assert all(up_s > down_s for down_s, up_s in spans)
        assert all(later[0] - earlier[1] > 0.01 for earlier, later in pairwise(spans))


@given(entries(), st.floats(0.2, 5))
def test_another_tempo_moves_every_stroke_alike(entry: Entry, factor: float) -> None:
    unit_s = entry.unit_s * factor
    slow = [e.at_s for e in performed(entry, 0.0, unit_s) if isinstance(e, KeyDown)]
    own = [e.at_s * factor for e in performed(entry) if isinstance(e, KeyDown)]
    if len(slow) == len(own):  # very fast ones lose strokes of one key
        assert slow == pytest.approx(own, abs=1e-9)


@given(entries(), st.integers(-7, 7), st.integers(0, 11))
def test_moved_elsewhere_and_begun_elsewhere_it_is_the_same_sequence(
    entry: Entry, places: int, begin: int
) -> None:
    moved = replace(
        entry,
        unit_s=entry.unit_s * 1.3,
        notes=tuple(
            replace(note, spelling=Spelling(note.spelling.staff + places, note.spelling.alter))
            for note in entry.notes
            if note.onset_units >= 0
        ),
    )
    plain = replace(entry, notes=tuple(note for note in entry.notes if note.onset_units >= 0))
    if not plain.notes:
        return
    assert figure_of(moved) == figure_of(plain)
    assert likeness(plain, moved) is Likeness.SAME if places == 0 else likeness(plain, moved)
    turned = _turned(plain, begin * UNIT)
    assert figure_of(turned) == figure_of(plain)
    assert likeness(plain, turned) is not None


def _turned(entry: Entry, begin: Fraction) -> Entry:
    """The same, thought to begin later in the link: what lies before is of the next link."""
    notes = []
    for note in entry.notes:
        late = note.onset_units >= begin
        onset = note.onset_units - begin + (0 if late else 1)
        spelling = note.spelling
        if not late:
            spelling = Spelling(spelling.staff + entry.step_degrees, spelling.alter)
        notes.append(replace(note, onset_units=onset, spelling=spelling))
    return replace(entry, notes=tuple(notes))


def test_the_links_that_follow_come_right_after_its_own() -> None:
    entry = played_entry()
    first = next(iter(Chain(pattern=pattern_of(entry), compass=PIANO).links()))
    own = performed(entry, 1.0)
    more = links_performed([first, first], end_s(entry, 1.0))
    last_own_s = max(e.at_s for e in own if isinstance(e, KeyDown))
    begins_s = min(e.at_s for e in more if isinstance(e, KeyDown))
    assert begins_s == pytest.approx(1.0 + 2 * entry.unit_s, abs=0.02)
    assert begins_s > last_own_s
    strokes((*own, *more))


def test_pedals_are_moved_in_every_link() -> None:
    marks = (
        PedalMark(offset_units=0.0, controller=64, value=127),
        PedalMark(offset_units=0.9, controller=64, value=0),
    )
    entry = checked(replace(paper_entry(), pedals=marks))
    moves = [e for e in performed(entry) if isinstance(e, PedalMove)]
    assert [round(e.at_s, 3) for e in moves] == [0.0, 1.8, 2.0, 3.8, 4.0, 5.8, 6.0, 7.8]
