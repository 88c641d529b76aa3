"""Notes are gathered into chords, and keys into notes."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.sequence.events import KeyDown, KeyUp
from livecont.sequence.groups import MOST_IN_GROUP, Groups

CHORD_S = 0.035


def down(at_s: float, pitch: int, channel: int = 0) -> KeyDown:
    return KeyDown(at_s=at_s, pitch=pitch, velocity=70, channel=channel)


def test_notes_within_the_spread_of_the_first_are_one_chord() -> None:
    groups = Groups(CHORD_S, 8)
    begun = [groups.down(down(at_s, pitch)) for at_s, pitch in ((1.0, 60), (1.02, 64), (1.034, 55))]
    assert begun == [True, False, False]
    assert groups.count == 1
    assert groups[0].onset_s == 1.0
    assert groups[0].pitches == (55, 60, 64)


def test_the_spread_counts_from_the_first_note_not_the_last() -> None:
    """A slow arpeggio does not become one chord by creeping on."""
    groups = Groups(CHORD_S, 8)
    begun = [groups.down(down(1.0 + 0.02 * n, 60 + n)) for n in range(5)]
    assert begun == [True, False, True, False, True]


def test_more_notes_at_once_than_four_hands_can_strike_are_held_but_not_compared() -> None:
    """A machine gone mad would have a link of thousands of notes, and the sitting stand still."""
    groups = Groups(CHORD_S, 8)
    for n in range(80):
        groups.down(down(1.0 + 0.0004 * n, 21 + n))
    assert groups.count == 1
    assert groups[0].pitches == tuple(range(21, 21 + MOST_IN_GROUP))
    assert groups.held() == tuple(range(21, 101))
    groups.up(KeyUp(at_s=1.1, pitch=100))
    assert 100 not in groups.held()


def test_a_key_up_ends_the_note_of_its_channel() -> None:
    groups = Groups(CHORD_S, 8)
    groups.down(down(1.0, 60, channel=0))
    groups.down(down(1.0, 60, channel=1))
    groups.up(KeyUp(at_s=1.5, pitch=60, channel=1))
    assert [note.release_s for note in groups[0].notes] == [None, 1.5]
    assert groups.held() == (60,)
    groups.up(KeyUp(at_s=1.6, pitch=60, channel=0))
    groups.up(KeyUp(at_s=1.7, pitch=60, channel=0))
    assert [note.release_s for note in groups[0].notes] == [1.6, 1.5]
    assert groups.held() == ()


def test_a_key_struck_again_without_a_note_off_ends_the_note_before() -> None:
    groups = Groups(CHORD_S, 8)
    groups.down(down(1.0, 60))
    groups.down(down(2.0, 60))
    assert groups[0].notes[0].release_s == 2.0
    assert groups[1].notes[0].release_s is None
    assert groups.held() == (60,)


def test_the_oldest_are_forgotten_and_their_keys_can_still_come_up() -> None:
    groups = Groups(CHORD_S, 3)
    for n in range(5):
        groups.down(down(1.0 + n, 60 + n))
    assert (groups.first, groups.count) == (2, 5)
    assert groups[4].pitches == (64,)
    for number in (1, 5, -1):
        with pytest.raises(IndexError):
            groups[number]
    groups.up(KeyUp(at_s=9.0, pitch=60))
    assert groups.held() == (61, 62, 63, 64)


@settings(max_examples=50)
@given(st.lists(st.tuples(st.floats(0.0, 0.2), st.integers(0, 127)), max_size=60))
def test_any_playing_is_gathered_without_loss(playing: list[tuple[float, int]]) -> None:
    groups = Groups(CHORD_S, 100)
    at_s = 0.0
    for wait_s, pitch in playing:
        at_s += wait_s
        groups.down(down(at_s, pitch))
    kept = [groups[number] for number in range(groups.count)]
    assert sum(len(group.notes) for group in kept) == len(playing)
    for group in kept:
        assert all(0 <= n.onset_s - group.onset_s <= CHORD_S for n in group.notes)
    for one, other in pairwise(kept):
        assert other.onset_s - one.onset_s > CHORD_S
