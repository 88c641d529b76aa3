"""The step counted the other way while it sounds."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from livecont.music.compass import Compass
from livecont.sequence.endings import Ending
from livecont.sequence.pattern import Kind, Link, Role
from livecont.sitting.carrying import AHEAD_S
from livecont.sitting.events import ChangeKind, Hush, Start, Understood
from livecont.sitting.snapshot import Phase
from tests.sequence.heard import play
from tests.sitting.desk import Desk, names
from tests.sitting.material import DUE_S, LINK_3, SETTINGS, UNIT_S, seated

MANY = replace(SETTINGS, most_links=8)
# the same model and copy a whole tone lower, note for note: a real sequence in C major and B flat
REAL = "E5.C4 G5 A4.F3 B4 C5.A3 F5 D5.B3 G4 D5.Bb3 F5 G4.Eb3 A4 Bb4.G3 Eb5 C5.A3 F4"


def moves(before: Link, after: Link) -> set[int]:
    return {b.pitch - a.pitch for a, b in zip(before.notes, after.notes, strict=True)}


def degrees(before: Link, after: Link) -> set[int]:
    pairs = zip(before.notes, after.notes, strict=True)
    return {b.spelling.staff - a.spelling.staff for a, b in pairs}


def flipped_at(at_s: float, desk: Desk) -> list[Link]:
    desk.until(at_s)
    desk.give(ChangeKind(at_s=at_s))
    desk.until(DUE_S + 7.5 * UNIT_S)
    return [sound.link for sound in desk.pending()]


def test_from_the_next_link_on_the_chain_is_real() -> None:
    desk = seated(MANY)
    links = flipped_at(DUE_S + UNIT_S + 0.1, desk)
    assert [link.number for link in links] == list(range(3, 11))
    third, fourth, *others = links
    assert names(third) == LINK_3
    assert moves(third, fourth) == {-2, -1}
    for before, after in pairwise([fourth, *others]):
        assert moves(before, after) == {-2}
    seen = desk.seen()
    assert seen.kind_changed
    assert seen.kind_from == 5
    assert seen.pattern is not None
    assert (seen.pattern.kind, seen.pattern.shift_semitones) == (Kind.REAL, -2)
    assert [news.pattern.kind for news in desk.all(Understood)][-1] is Kind.REAL


def test_a_link_that_was_handed_over_stays_as_it_is() -> None:
    links = flipped_at(DUE_S + UNIT_S - AHEAD_S + 0.01, seated(MANY))
    third, fourth, fifth = links[:3]
    assert moves(third, fourth) == {-2, -1}
    assert moves(fourth, fifth) == {-2}


def test_back_in_the_key_the_chain_goes_on_where_it_is() -> None:
    desk = seated(MANY)
    desk.until(DUE_S + 0.1)
    desk.give(ChangeKind(at_s=DUE_S + 0.1))
    back = DUE_S + 3 * UNIT_S + 0.1
    desk.until(back)
    desk.give(ChangeKind(at_s=back))
    seen = desk.until(DUE_S + 7.5 * UNIT_S)
    links = [sound.link for sound in desk.pending()]
    for before, after in pairwise(links):
        assert all(-4 <= move <= 0 for move in moves(before, after))
    for link in links[4:]:
        assert all(note.spelling.alter == 0 for note in link.notes), names(link)
    for before, after in pairwise(links[4:]):
        assert degrees(before, after) == {-1}
    assert not seen.kind_changed
    assert seen.pattern is not None
    assert seen.pattern.kind is Kind.TONAL


def test_a_real_sequence_is_brought_into_the_key_and_let_out_again() -> None:
    desk = Desk(MANY)
    desk.give(*play(REAL, 0.25, 1.0))
    seen = desk.until(DUE_S + 0.1)
    assert seen.pattern is not None
    assert seen.pattern.kind is Kind.REAL
    desk.give(ChangeKind(at_s=DUE_S + 0.2))
    at_s = DUE_S + 2 * UNIT_S + 0.1
    desk.until(at_s)
    desk.give(ChangeKind(at_s=at_s))
    desk.until(DUE_S + 5.5 * UNIT_S)
    third, fourth, fifth, *rest = [sound.link for sound in desk.pending()]
    assert any(note.spelling.alter for note in third.notes)
    assert not any(note.spelling.alter for note in (*fourth.notes, *fifth.notes))
    for before, after in pairwise([fifth, *rest]):
        assert moves(before, after) == {-2}


@pytest.mark.parametrize("start", [Start.ON_CUE, Start.AT_ONCE])
def test_before_anything_sounds_the_whole_chain_is_counted_the_other_way(start: Start) -> None:
    desk = seated(replace(MANY, start=start))
    at_s = DUE_S - 0.04
    desk.until(at_s)
    desk.give(ChangeKind(at_s=at_s))
    seen = desk.until(DUE_S - 0.035)
    assert seen.phase is Phase.READY
    assert seen.pattern is not None
    assert seen.pattern.kind is Kind.REAL
    assert (seen.kind_changed, seen.kind_from) == (True, 3)
    desk.until(DUE_S - 0.01)
    desk.give(ChangeKind(at_s=DUE_S - 0.01), ChangeKind(at_s=DUE_S - 0.005))
    desk.until(DUE_S + 1.5 * UNIT_S)
    if start is Start.AT_ONCE:
        third, fourth = (sound.link for sound in desk.pending())
        assert moves(third, fourth) == {-2}


def test_a_link_that_waits_already_is_handed_over_anew() -> None:
    desk = seated(MANY)
    desk.until(DUE_S - 0.01)
    assert len(desk.pending()) == 1
    hushed = len(desk.all(Hush))
    desk.give(ChangeKind(at_s=DUE_S - 0.01))
    assert len(desk.all(Hush)) == hushed + 1
    seen = desk.until(DUE_S + 0.1)
    assert seen.phase is Phase.SOUNDING
    [pending] = desk.pending()
    assert any(note.spelling.alter for note in pending.link.notes)


def test_with_no_sequence_there_is_nothing_to_be_counted() -> None:
    desk = Desk(MANY)
    desk.give(ChangeKind(at_s=1.0))
    assert desk.effects == []
    assert not desk.seen().kind_changed


@pytest.mark.parametrize("ending", [Ending.TURN, Ending.CLOSE])
def test_the_way_out_is_not_counted_otherwise(ending: Ending) -> None:
    desk = seated(replace(SETTINGS, most_links=2, ending=ending))
    desk.until(DUE_S + 2 * UNIT_S + 0.1)
    before = desk.seen()
    assert before.sounding is not None
    assert before.sounding.role in (Role.TURNED, Role.CADENCE)
    desk.give(ChangeKind(at_s=DUE_S + 2 * UNIT_S + 0.2))
    assert desk.seen().pattern == before.pattern
    assert desk.seen().coming == before.coming


def test_folding_goes_on_in_the_octave_where_it_is() -> None:
    small = Compass(
        name="small", title="", lowest=43, highest=84, absent=frozenset(), source="made for tests"
    )
    desk = seated(replace(SETTINGS, most_links=None, ending=Ending.FOLD, compass=small))
    desk.until(DUE_S)
    while desk.state.sounding is not None and desk.now_s < 40:
        if any(link.role is Role.FOLDED for link in desk.state.sounding.sent):
            break
        desk.until(desk.now_s + 0.5)
    assert desk.state.sounding is not None
    last = desk.state.sounding.sent[-1]
    desk.give(ChangeKind(at_s=desk.now_s))
    desk.until(desk.now_s + UNIT_S)
    following = next(s.link for s in desk.pending() if s.link.number == last.number + 1)
    assert moves(last, following) == {-2}


def test_links_left_are_counted_anew_and_the_limit_stays() -> None:
    desk = seated(MANY)
    desk.until(DUE_S + 0.1)
    desk.give(ChangeKind(at_s=DUE_S + 0.1))
    assert desk.until(DUE_S + 0.2).links_left == 7
    desk.until(DUE_S + 20 * UNIT_S)
    assert [s.link.number for s in desk.pending()] == list(range(3, 11))
    assert desk.seen().last_end == "limit"
