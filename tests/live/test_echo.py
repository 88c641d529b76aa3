"""The echo guard's rule, case by case: what returns is ours, what the player does is his."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.live.echo import (
    MISSES_ABSENT,
    MISSES_GONE,
    PROBE_S,
    WINDOW_S,
    EchoGuard,
    Route,
)

LATENCY_S = 0.002


def strike(pitch: int, velocity: int = 64, channel: int = 0) -> bytes:
    return bytes((0x90 | channel, pitch, velocity))


def release(pitch: int, channel: int = 0) -> bytes:
    return bytes((0x80 | channel, pitch, 64))


def guarded(route: Route, at_s: float = 0.0, latency_s: float = LATENCY_S) -> EchoGuard:
    """A guard that has found out by a probe whether there is a route to `keys`; now is `at_s`."""
    guard = EchoGuard()
    guard.forget_route("keys")
    if route is Route.UNKNOWN:
        return guard
    probe = guard.probe(at_s - 1.0, frozenset(), frozenset())
    assert probe is not None
    if route is Route.KNOWN:
        assert guard.is_ours("keys", probe, at_s - 1.0 + latency_s, held=False)
    # anything later settles that the probe is past
    assert not guard.is_ours("keys", strike(1), at_s - 1.0 + 2 * PROBE_S, held=False)
    assert guard.route("keys") is route
    return guard


def is_ours(guard: EchoGuard, message: bytes, at_s: float, *, held: bool = False) -> bool:
    return guard.is_ours("keys", message, at_s, held=held)


# --- what returns is ours -------------------------------------------------------------------------


@pytest.mark.parametrize("latency_s", [0.0, 0.001, 0.02, 0.12])
@pytest.mark.parametrize("route", [Route.UNKNOWN, Route.KNOWN])
def test_a_chain_that_returns_is_never_taken_for_the_player(route: Route, latency_s: float) -> None:
    guard = guarded(route, 1.0, latency_s)
    for k in range(40):
        at_s = 1.0 + 0.15 * k
        pitch, velocity = 72 - k % 12, 60 + k % 7
        guard.sent(strike(pitch, velocity), at_s)
        guard.sent(release(pitch), at_s + 0.1)
        jitter_s = 0.0005 * (k % 5)
        assert is_ours(guard, strike(pitch, velocity), at_s + latency_s + jitter_s)
        assert is_ours(guard, release(pitch), at_s + 0.1 + latency_s + jitter_s)
    assert guard.route("keys") is Route.KNOWN


def test_a_keyboard_that_echoes_on_another_channel_is_recognised() -> None:
    guard = guarded(Route.KNOWN)
    guard.sent(strike(60, channel=0), 1.0)
    assert is_ours(guard, strike(60, channel=9), 1.0 + LATENCY_S)


def test_a_release_that_returns_as_a_strike_of_velocity_0_is_recognised() -> None:
    guard = guarded(Route.KNOWN)
    guard.sent(release(60), 1.0)
    assert is_ours(guard, strike(60, 0), 1.0 + LATENCY_S)


def test_pedals_that_return_are_recognised() -> None:
    guard = guarded(Route.KNOWN)
    guard.sent(bytes((0xB0, 64, 127)), 1.0)
    assert is_ours(guard, bytes((0xB0, 64, 127)), 1.0 + LATENCY_S)
    assert not is_ours(guard, bytes((0xB0, 64, 127)), 1.0 + LATENCY_S)


def test_what_a_hush_releases_is_recognised_and_what_it_cancels_is_not() -> None:
    guard = guarded(Route.KNOWN, 1.0)
    guard.sent(strike(60), 1.0)
    guard.sent(release(60), 1.9)
    guard.sent(strike(62), 1.5)
    guard.hushed(1.2)
    assert is_ours(guard, release(60), 1.2 + LATENCY_S, held=True)
    assert not is_ours(guard, strike(62), 1.5 + LATENCY_S)


def test_all_notes_off_from_ourselves_does_not_release_the_player() -> None:
    assert is_ours(guarded(Route.KNOWN), bytes((0xB0, 123, 0)), 1.0)
    assert not is_ours(guarded(Route.ABSENT), bytes((0xB0, 123, 0)), 1.0)


# --- what the player does is his ------------------------------------------------------------------


@pytest.mark.parametrize("early_s", [-0.002, 0.0, 0.001, 0.02, 0.2])
def test_without_a_route_the_player_is_heard_playing_the_very_notes_that_are_due(
    early_s: float,
) -> None:
    guard = guarded(Route.ABSENT)
    for k, pitch in enumerate((60, 62, 64, 65)):
        at_s = 1.0 + 0.3 * k
        guard.sent(strike(pitch, 64), at_s)
        guard.sent(release(pitch), at_s + 0.05)
        played_s = at_s + early_s + (0.011 if k % 2 else 0.0)  # hands are not steadier
        assert not is_ours(guard, strike(pitch, 64), played_s)
        assert not is_ours(guard, release(pitch), played_s + 0.05, held=True)


def test_with_a_route_the_player_is_heard_beside_the_echo() -> None:
    """Both come; which one is called the echo makes no difference."""
    guard = guarded(Route.KNOWN)
    guard.sent(strike(60), 1.0)
    came = [is_ours(guard, strike(60), 1.0 + LATENCY_S), is_ours(guard, strike(60), 1.008)]
    assert came == [True, False]


@pytest.mark.parametrize(
    ("message", "at_s"),
    [
        (strike(61), 1.0 + LATENCY_S),  # another key
        (strike(60, 65), 1.0 + LATENCY_S),  # another velocity
        (strike(60), 1.0 - 0.05),  # before ours
        (strike(60), 1.0 + LATENCY_S + 0.1),  # long after ours would have come
    ],
)
def test_with_a_route_other_notes_are_his(message: bytes, at_s: float) -> None:
    guard = guarded(Route.KNOWN)
    guard.sent(strike(60), 1.0)
    assert not is_ours(guard, message, at_s)


def test_other_keyboards_keep_their_own_route() -> None:
    guard = guarded(Route.KNOWN)
    guard.forget_route("second")
    guard.probe(1.0, frozenset(), frozenset())
    assert is_ours(guard, release(100), 1.0 + LATENCY_S)  # the probe, at `keys` alone
    guard.sent(strike(60), 2.0)
    assert is_ours(guard, strike(60), 2.0 + LATENCY_S)
    assert not guard.is_ours("second", strike(60), 2.0 + LATENCY_S, held=False)


# --- how it is learned ----------------------------------------------------------------------------


def test_a_probe_is_a_release_of_a_key_that_nobody_holds() -> None:
    guard = EchoGuard()
    guard.sent(strike(98), 1.0)
    probe = guard.probe(1.0, frozenset({100}), frozenset({99}))
    assert probe == bytes((0x80, 97, 0))
    assert guard.probe(1.1, frozenset(), frozenset()) is None  # one at a time


def test_a_release_by_the_player_is_no_probe() -> None:
    guard = EchoGuard()
    guard.probe(1.0, frozenset(), frozenset())
    assert not is_ours(guard, release(100), 1.01, held=True)


def test_the_first_notes_of_all_are_recognised_before_anything_is_known() -> None:
    guard = guarded(Route.UNKNOWN)
    guard.sent(strike(60), 1.0)
    assert is_ours(guard, strike(60), 1.0 + LATENCY_S)


def test_notes_that_do_not_return_tell_that_there_is_no_route() -> None:
    guard = guarded(Route.UNKNOWN)
    for k in range(MISSES_ABSENT):
        guard.sent(strike(60 + k), 1.0 + 0.1 * k)
    assert not is_ours(guard, strike(40), 1.0 + 0.1 * MISSES_ABSENT + WINDOW_S)
    assert guard.route("keys") is Route.ABSENT


def test_a_cable_that_is_taken_out_is_noticed() -> None:
    guard = guarded(Route.KNOWN)
    for k in range(MISSES_GONE):
        guard.sent(strike(60 + k), 1.0 + 0.1 * k)
    assert not is_ours(guard, strike(40), 1.0 + 0.1 * MISSES_GONE + WINDOW_S)
    assert guard.route("keys") is Route.ABSENT


def test_a_cable_that_is_plugged_in_while_sounding_is_noticed_within_three_notes() -> None:
    guard = guarded(Route.ABSENT)
    told = []
    for k in range(6):
        at_s = 1.0 + 0.2 * k
        guard.sent(strike(60 + k), at_s)
        told.append(is_ours(guard, strike(60 + k), at_s + LATENCY_S + 0.0005 * (k % 3)))
    assert told == [False, False, True, True, True, True]


def test_a_cable_that_is_plugged_in_between_is_noticed_before_the_take_over() -> None:
    guard = guarded(Route.ABSENT, 0.0)
    probe = guard.probe(5.0, frozenset(), frozenset())
    assert probe is not None
    assert is_ours(guard, probe, 5.0 + LATENCY_S)
    guard.sent(strike(60), 5.03)
    assert is_ours(guard, strike(60), 5.03 + LATENCY_S)


def test_a_route_that_swallows_probes_is_believed_all_the_same() -> None:
    guard = guarded(Route.ABSENT)
    for k in range(4):
        guard.sent(strike(60 + k), 1.0 + 0.2 * k)
        is_ours(guard, strike(60 + k), 1.0 + 0.2 * k + LATENCY_S)
    assert guard.route("keys") is Route.KNOWN
    assert guard.probe(10.0, frozenset(), frozenset()) is not None
    guard.sent(strike(60), 11.0)
    assert is_ours(guard, strike(60), 11.0 + LATENCY_S)


def test_a_note_passed_through_that_returns_while_held_shows_the_route_at_once() -> None:
    guard = guarded(Route.ABSENT)
    guard.sent(strike(60), 1.0, passed=True)
    assert is_ours(guard, strike(60), 1.0 + LATENCY_S, held=True)
    assert guard.route("keys") is Route.KNOWN
    assert guard.longest_s == pytest.approx(LATENCY_S)


@given(
    st.lists(
        st.tuples(st.sampled_from("sapht"), st.binary(min_size=2, max_size=3), st.floats(0, 1)),
        max_size=60,
    )
)
def test_the_guard_takes_anything_and_keeps_little(
    happenings: list[tuple[str, bytes, float]],
) -> None:
    guard = EchoGuard()
    now_s = 0.0
    for what, data, gap_s in happenings:
        now_s += gap_s
        message = bytes((0x80 | (data[0] & 0x3F), *(byte & 0x7F for byte in data[1:])))
        if what == "s":
            guard.sent(message, now_s + gap_s)
        elif what == "p":
            guard.sent(message, now_s, passed=True)
        elif what == "h":
            guard.hushed(now_s)
        elif what == "t":
            guard.probe(now_s, frozenset(), frozenset())
        else:
            guard.is_ours("keys", message, now_s, held=bool(data[0] & 1))
    guard.is_ours("keys", strike(60), now_s + 10.0, held=False)
    assert guard.remembered == 0
