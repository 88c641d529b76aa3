"""From arrivals to what the sitting hears: echoes out, controls apart, keys in turn."""

from __future__ import annotations

from types import SimpleNamespace

from hypothesis import given
from hypothesis import strategies as st

from livecont.live.controls import Panel
from livecont.live.echo import EchoGuard, Route
from livecont.live.hearing import Arrival, Thru
from livecont.live.messages import TimedMessage
from livecont.live.player import Player
from livecont.sequence.events import KeyDown, KeyUp
from livecont.sitting.events import SittingEvent, Stop


def player(guard: EchoGuard | None = None, thru: Thru | None = None) -> Player:
    controls = SimpleNamespace(pedals={67: "stop"}, keys={}, computer={"s": "stop"})
    return Player(Panel(controls), guard, thru)


def hear(
    who: Player, data: str, at_s: float = 1.0, source: str = "keys", *, passed: bool = False
) -> tuple[SittingEvent, ...]:
    return who.hear(Arrival(source, at_s, bytes.fromhex(data), passed))


def sent(data: str, at_s: float) -> TimedMessage:
    return TimedMessage(due_s=at_s, data=bytes.fromhex(data))


def test_keys_reach_the_sitting_and_controls_become_what_they_mean() -> None:
    who = player()
    assert hear(who, "903c40") == (KeyDown(at_s=1.0, pitch=60, velocity=64),)
    assert hear(who, "b0437f") == (Stop(at_s=1.0),)
    assert who.type("s", 2.0) == (Stop(at_s=2.0),)


def test_one_arrival_may_hold_several_messages_and_half_of_one() -> None:
    who = player()
    assert len(hear(who, "903c40 4040 90")) == 2
    assert hear(who, "4340") == (KeyDown(at_s=1.0, pitch=67, velocity=64),)


def test_what_livecont_plans_and_hears_again_does_not_reach_the_sitting() -> None:
    who = player(EchoGuard())
    who.opened("keys")
    who.planned([sent("903c40", 2.0), sent("803c40", 2.5)])
    assert hear(who, "903c40", 2.002) == ()
    assert hear(who, "803c40", 2.502) == ()


def test_where_nothing_can_come_back_nothing_is_doubted() -> None:
    who = player(None)
    who.planned([sent("903c40", 2.0)])
    assert len(hear(who, "903c40", 2.0)) == 1
    assert who.probe(3.0, ()) is None
    assert who.echoing == ()


def test_the_players_own_note_is_heard_once_where_passing_through_makes_a_loop() -> None:
    out: list[bytes] = []
    thru = Thru(out.append)
    who = player(EchoGuard(), thru)
    who.opened("keys")
    heard: list[SittingEvent] = []
    for k in range(10):
        for data, held_s in ((bytes((0x90, 60 + k, 70)), 0.0), (bytes((0x80, 60 + k, 0)), 0.12)):
            for trip_s in (0.0, 0.05, 0.1):  # a loop of 50 ms
                at_s = 1.0 + 0.3 * k + held_s + trip_s
                if trip_s and (not out or out[-1] != data):
                    break  # nothing went out, so nothing comes back
                passed = thru.forward(data, at_s)
                heard += who.hear(Arrival("keys", at_s, data, passed))
                if not passed:
                    break
    strikes = [event for event in heard if isinstance(event, KeyDown)]
    releases = [event for event in heard if isinstance(event, KeyUp)]
    assert [event.pitch for event in strikes] == list(range(60, 70))
    assert len(releases) == 10
    assert len(out) <= 22  # the first note went round once more at most
    assert who.echoing == ("keys",)


def test_a_lost_keyboard_lets_go() -> None:
    who = player()
    hear(who, "903c40", source="lower")
    hear(who, "904040", source="upper")
    assert who.let_go("lower", 2.0) == (KeyUp(at_s=2.0, pitch=60),)
    assert who.let_go_all(3.0) == (KeyUp(at_s=3.0, pitch=64),)


def test_when_the_output_is_another_one_its_route_is_not_known() -> None:
    guard = EchoGuard()
    who = player(guard)
    hear(who, "903c40")
    probe = who.probe(2.0, ())
    assert probe is not None
    hear(who, probe.hex(), 2.01)
    assert guard.route("keys") is Route.KNOWN
    who.output_opened()
    assert guard.route("keys") is Route.UNKNOWN


@given(st.lists(st.tuples(st.sampled_from("ab"), st.binary(max_size=30), st.booleans())))
def test_any_bytes_from_anywhere_are_taken(arrivals: list[tuple[str, bytes, bool]]) -> None:
    who = player(EchoGuard(), Thru(lambda _: None))
    down: set[tuple[int, int]] = set()
    for k, (source, data, planned) in enumerate(arrivals):
        at_s = 0.01 * k
        if planned and len(data) >= 3:
            message = bytes((0x90, data[0] & 127, data[1] & 127))
            who.planned([TimedMessage(due_s=at_s, data=message)])
        for event in who.hear(Arrival(source, at_s, data, passed=False)):
            if isinstance(event, KeyDown):
                assert (event.channel, event.pitch) not in down
                down.add((event.channel, event.pitch))
            elif isinstance(event, KeyUp):
                down.remove((event.channel, event.pitch))
