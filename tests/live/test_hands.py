"""Bytes to messages to keys, against mido's own codec and against MIDI 1.0's rules."""

from __future__ import annotations

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.live.hands import Hands, Stream
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent

SEVEN_BITS = st.integers(0, 127)
REAL_TIME = st.sampled_from([0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF])


@st.composite
def messages(draw: st.DrawFn) -> bytes:
    """One channel message, on any channel."""
    kind = draw(st.sampled_from([0x80, 0x90, 0xA0, 0xB0, 0xC0, 0xD0, 0xE0]))
    status = kind | draw(st.integers(0, 15))
    count = 1 if kind in (0xC0, 0xD0) else 2
    return bytes((status, *(draw(SEVEN_BITS) for _ in range(count))))


@given(messages())
def test_a_message_that_mido_reads_is_read_the_same(message: bytes) -> None:
    """mido.Message.from_bytes is the outside reader: it checks status, length and data."""
    assert [mido.Message.from_bytes(one).bytes() for one in Stream().feed(message)] == [
        list(message)
    ]


@given(st.lists(messages()), st.data())
def test_running_status_and_real_time_bytes_change_nothing(
    sent: list[bytes], data: st.DataObject
) -> None:
    """MIDI 1.0: a status byte equal to the last may be left out, real time may stand anywhere."""
    wire = bytearray()
    status = 0
    for message in sent:
        short = message[0] == status and data.draw(st.booleans())
        for byte in message[1:] if short else message:
            wire += bytes(data.draw(st.lists(REAL_TIME, max_size=2)))
            wire.append(byte)
        status = message[0]
    stream = Stream()
    cut = data.draw(st.integers(0, len(wire)))
    assert stream.feed(wire[:cut]) + stream.feed(wire[cut:]) == sent


def test_system_exclusive_and_common_are_passed_over_and_end_running_status() -> None:
    stream = Stream()
    wire = "903c40 f07e7f0601f7 3e40 903e40 f23c40 4040 914041"
    assert [m.hex() for m in stream.feed(bytes.fromhex(wire))] == ["903c40", "903e40", "914041"]


def test_a_system_exclusive_that_is_cut_short_does_not_swallow_what_follows() -> None:
    assert [m.hex() for m in Stream().feed(bytes.fromhex("f0010203 903c40"))] == ["903c40"]


@given(st.binary(max_size=200))
def test_any_bytes_make_whole_messages_or_none(wire: bytes) -> None:
    for message in Stream().feed(wire):
        assert mido.Message.from_bytes(message).bytes() == list(message)


def read(wire: str, hands: Hands | None = None, source: str = "keys") -> list[PlayerEvent]:
    hands = hands or Hands()
    messages = Stream().feed(bytes.fromhex(wire))
    return [event for m in messages for event in hands.read(source, m, 1.0)]


def test_velocity_0_is_a_release() -> None:
    assert read("903c40 903c00") == [
        KeyDown(at_s=1.0, pitch=60, velocity=64),
        KeyUp(at_s=1.0, pitch=60),
    ]


def test_striking_a_held_key_again_releases_it_first() -> None:
    """Running notes without note-off."""
    assert read("903c40 903c50") == [
        KeyDown(at_s=1.0, pitch=60, velocity=64),
        KeyUp(at_s=1.0, pitch=60),
        KeyDown(at_s=1.0, pitch=60, velocity=80),
    ]


def test_a_release_of_a_key_that_is_up_says_nothing() -> None:
    assert read("803c40 903c00") == []


@pytest.mark.parametrize("channel", range(16))
def test_every_channel_is_heard(channel: int) -> None:
    wire = bytes((0x90 | channel, 60, 64)).hex()
    assert read(wire) == [KeyDown(at_s=1.0, pitch=60, velocity=64, channel=channel)]


def test_pedals_are_heard_and_other_controllers_are_not() -> None:
    assert read("b0407f b04230 b04300 b00740 e00040 c005 d040") == [
        PedalMove(at_s=1.0, controller=64, value=127),
        PedalMove(at_s=1.0, controller=66, value=48),
        PedalMove(at_s=1.0, controller=67, value=0),
    ]


@pytest.mark.parametrize("number", [120, 123, 124, 125, 126, 127])
def test_channel_mode_messages_release_their_channel(number: int) -> None:
    """MIDI 1.0: all sound off, all notes off, and the mode changes, which imply the latter."""
    hands = Hands()
    read("903c40 914040", hands)
    assert read(bytes((0xB0, number, 0)).hex(), hands) == [KeyUp(at_s=1.0, pitch=60)]
    assert hands.pitches == {64}


def test_reset_all_controllers_lifts_the_pedals() -> None:
    hands = Hands()
    read("b0407f 903c40", hands)
    assert read("b07900", hands) == [PedalMove(at_s=1.0, controller=64, value=0)]
    assert hands.pitches == {60}


def test_two_keyboards_share_a_key_and_the_later_strike_owns_it() -> None:
    hands = Hands()
    read("903c40", hands, "lower")
    assert len(read("903c50", hands, "upper")) == 2
    assert read("803c00", hands, "lower") == []
    assert read("803c00", hands, "upper") == [KeyUp(at_s=1.0, pitch=60)]


def test_what_a_lost_keyboard_held_is_let_go() -> None:
    hands = Hands()
    read("903c40 b0407f", hands, "lower")
    read("904340", hands, "upper")
    assert hands.let_go("lower", 2.0) == (
        KeyUp(at_s=2.0, pitch=60),
        PedalMove(at_s=2.0, controller=64, value=0),
    )
    assert hands.pitches == {67}


@given(st.lists(st.tuples(st.sampled_from(["a", "b"]), st.binary(max_size=60)), max_size=8))
def test_keys_go_down_and_up_in_turn_whatever_bytes_arrive(
    arrivals: list[tuple[str, bytes]],
) -> None:
    hands = Hands()
    streams = {"a": Stream(), "b": Stream()}
    down: set[tuple[int, int]] = set()
    for source, wire in arrivals:
        for message in streams[source].feed(wire):
            for event in hands.read(source, message, 0.0):
                if isinstance(event, KeyDown):
                    assert (event.channel, event.pitch) not in down
                    assert event.velocity > 0
                    down.add((event.channel, event.pitch))
                elif isinstance(event, KeyUp):
                    down.remove((event.channel, event.pitch))
    for source in streams:
        for event in hands.let_go(source, 0.0):
            if isinstance(event, KeyUp):
                down.remove((event.channel, event.pitch))
    assert not down
