"""Stamps, the bounded inbox, and passing through without a loop."""

from __future__ import annotations

import math
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.live.clock import ManualClock
from livecont.live.hearing import (
    LOST_TRACK_S,
    RETURN_WINDOW_S,
    SETTLE_MESSAGES,
    Arrival,
    Ear,
    Inbox,
    Stamps,
    Thru,
)

NOTE = bytes((0x90, 60, 64))


def test_a_late_callback_does_not_move_the_stamp() -> None:
    stamps = Stamps()
    assert stamps.stamp(0.0, 10.0) == 10.0
    assert math.isclose(stamps.stamp(0.5, 10.505), 10.5)  # heard 5 ms late
    assert math.isclose(stamps.stamp(0.5, 11.0), 11.0)


def test_a_late_first_callback_is_put_right_by_the_first_prompt_one() -> None:
    stamps = Stamps()
    stamps.stamp(0.0, 10.004)  # came at 10.0
    assert stamps.stamp(0.5, 10.5) == 10.5


def test_time_that_the_driver_did_not_count_is_made_good() -> None:
    stamps = Stamps()
    stamps.stamp(0.0, 10.0)
    assert stamps.stamp(0.1, 12.0) == 12.0  # at once where it is much
    late = [stamps.stamp(0.1, 12.02 + 0.1 * (k + 1)) for k in range(SETTLE_MESSAGES + 1)]
    assert math.isclose(late[0], 12.1)
    assert math.isclose(late[-1], 12.92)  # after some messages where it is little


@given(
    st.lists(
        st.tuples(st.floats(0.0001, 2.0), st.floats(0.0, 0.02)),  # apart, callback late by
        min_size=1,
        max_size=60,
    )
)
def test_stamps_are_never_in_the_future_and_never_far_off(gaps: list[tuple[float, float]]) -> None:
    stamps = Stamps()
    came_s, heard_s, before_s = 5.0, 0.0, 5.0
    for gap_s, late_s in gaps:
        came_s += gap_s
        heard_s = max(heard_s, came_s + late_s)  # callbacks come one after the other
        at_s = stamps.stamp(came_s - before_s, heard_s)
        before_s = came_s
        assert came_s - LOST_TRACK_S <= at_s <= heard_s + 1e-9


def test_a_delta_that_is_no_number_falls_back_to_the_clock() -> None:
    stamps = Stamps()
    stamps.stamp(0.0, 1.0)
    assert stamps.stamp(math.nan, 2.0) == 2.0
    assert stamps.stamp(0.5, 2.5) == 2.5


def arrival(number: int) -> Arrival:
    return Arrival("keys", float(number), NOTE, passed=False)


def test_arrivals_come_in_order_and_overruns_are_counted() -> None:
    inbox: Inbox[str] = Inbox(capacity=3)
    for number in range(5):
        inbox.arrive(arrival(number))
    assert inbox.overruns == 2
    assert [inbox.take(0.0) for _ in range(4)] == [arrival(0), arrival(1), arrival(2), None]


def test_a_post_goes_before_what_waits_and_always_finds_room() -> None:
    inbox: Inbox[str] = Inbox(capacity=2)
    inbox.arrive(arrival(0))
    inbox.arrive(arrival(1))
    inbox.post("stop")
    assert inbox.take(0.0) == "stop"
    assert inbox.take(0.0) == arrival(0)
    assert inbox.take(0.0) == arrival(1)
    assert inbox.take(0.0) is None  # the post's wake-up call
    assert inbox.empty


def test_a_post_wakes_the_one_who_waits() -> None:
    inbox: Inbox[str] = Inbox()
    got: list[object] = []
    waiting = threading.Thread(target=lambda: got.append(inbox.take(30.0)))
    waiting.start()
    inbox.post("quit")
    waiting.join(10)
    assert got == ["quit"]


def thru(**taken: frozenset[int]) -> tuple[Thru, list[bytes]]:
    sent: list[bytes] = []
    return Thru(sent.append, **taken), sent


def test_channel_messages_are_passed_on_and_others_are_not() -> None:
    through, sent = thru()
    passed = [NOTE, bytes((0xE3, 1, 2)), bytes((0xC0, 5)), bytes((0xD0, 5)), bytes((0x85, 1, 2))]
    for message in passed:
        assert through.forward(message, 1.0)
    for message in (b"", b"\xf0\x01\xf7", b"\xf8", b"\x90\x3c", b"\x90\x3c\x40\x00", b"\x3c\x40"):
        assert not through.forward(message, 1.0)
    assert sent == passed


def test_controls_do_not_reach_the_synth() -> None:
    through, sent = thru(controllers=frozenset({67}), pitches=frozenset({21}))
    for message in ("b0437f", "901540", "801500"):
        assert not through.forward(bytes.fromhex(message), 1.0)
    assert through.forward(bytes.fromhex("b0157f"), 1.0)  # controller 21 is no key
    assert sent == [bytes.fromhex("b0157f")]


def test_what_comes_back_at_once_is_not_sent_round_again() -> None:
    through, sent = thru()
    assert through.forward(NOTE, 1.0)
    assert not through.forward(NOTE, 1.0 + 0.5 * RETURN_WINDOW_S)
    assert through.forward(NOTE, 1.0 + 2 * RETURN_WINDOW_S)
    assert sent == [NOTE, NOTE]


def test_a_known_route_keeps_planned_notes_from_being_passed_on() -> None:
    through, sent = thru()
    through.plan(NOTE, 1.0)
    assert through.forward(NOTE, 1.01)  # no route: the player struck it himself
    through.returns_within_s = 0.1
    through.plan(NOTE, 2.0)
    through.plan(NOTE, 3.0)  # in the link after
    assert not through.forward(NOTE, 2.05)
    assert through.forward(NOTE, 2.2)
    assert sent == [NOTE, NOTE]


@pytest.mark.parametrize("release", [bytes((0x80, 60, 64)), bytes((0x90, 60, 0))])
def test_what_was_passed_on_is_released_whatever_else_releases_it(release: bytes) -> None:
    """A planned release that is equal, or one just passed: a key of the player's never hangs."""
    through, sent = thru()
    through.returns_within_s = 0.1
    through.plan(release, 2.0)
    assert through.forward(NOTE, 1.9)
    assert through.forward(release, 2.01)
    assert not through.forward(release, 2.03)  # this one came back
    assert through.forward(NOTE, 2.2)
    assert through.forward(release, 2.22)
    assert sent == [NOTE, release, NOTE, release]


def test_a_pedal_that_was_passed_on_is_lifted_too() -> None:
    through, sent = thru()
    down, up = bytes((0xB0, 64, 127)), bytes((0xB0, 64, 0))
    through.returns_within_s = 0.1
    through.plan(up, 2.0)
    assert through.forward(down, 1.9)
    assert through.forward(up, 2.01)
    assert sent == [down, up]


def test_the_callback_stamps_queues_and_passes_on() -> None:
    clock = ManualClock(7.0)
    inbox: Inbox[str] = Inbox()
    through, sent = thru()
    ear = Ear("keys", inbox, clock, through)
    ear(([0x90, 60, 64], 0.0))
    clock.advance(0.1)
    ear(([0xFE], 0.1))  # active sensing: only its time counts
    clock.advance(0.05)
    ear(([], 0.05))
    clock.advance(0.104)  # the interpreter was busy for 4 ms
    ear(([0x80, 60, 0], 0.1))
    first, second = inbox.take(0.0), inbox.take(0.0)
    assert first == Arrival("keys", 7.0, NOTE, passed=True)
    assert isinstance(second, Arrival)
    assert math.isclose(second.at_s, 7.25)
    assert inbox.take(0.0) is None
    assert sent == [NOTE, bytes((0x80, 60, 0))]


@given(st.lists(st.integers(0, 255), max_size=8), st.floats())
def test_nothing_that_a_driver_hands_over_raises(message: list[int], delta_s: float) -> None:
    ear = Ear("keys", Inbox[str](), ManualClock(1.0), thru()[0])
    ear((message, delta_s))
    ear((message, delta_s))
