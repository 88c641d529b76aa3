"""Who holds a key: ours, the player's, or both; and nothing is left sounding."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from livecont.live.ledger import Ledger

ON, OFF, AGAIN = b"\x90\x3c\x50", b"\x80\x3c\x40", b"\x90\x3c\x30"


def down(value: int, controller: int = 64) -> bytes:
    return bytes((0xB0, controller, value))


def test_a_strike_and_its_release_go_through_as_they_are() -> None:
    ledger = Ledger()
    assert ledger.admit(ON, ours=True) == (ON,)
    assert ledger.sounding == {(0, 60)}
    assert ledger.admit(b"\x80\x3c\x11", ours=True) == (b"\x80\x3c\x11",)
    assert ledger.sounding == frozenset()


def test_velocity_0_is_a_release() -> None:
    # MIDI 1.0: a note-on with velocity 0 is to be taken for a note-off
    ledger = Ledger()
    ledger.admit(ON, ours=True)
    assert ledger.admit(b"\x90\x3c\x00", ours=True) == (OFF,)
    assert ledger.sounding == frozenset()


def test_a_key_struck_again_is_released_first_and_held_by_the_last() -> None:
    ledger = Ledger()
    ledger.admit(ON, ours=True)
    assert ledger.admit(AGAIN, ours=True) == (OFF, AGAIN)
    assert ledger.admit(OFF, ours=True) == ()  # the first one's release
    assert ledger.sounding == {(0, 60)}
    assert ledger.admit(OFF, ours=True) == (OFF,)


def test_our_release_does_not_cut_what_the_player_holds() -> None:
    ledger = Ledger()
    ledger.admit(ON, ours=True)
    assert ledger.admit(AGAIN, ours=False) == (OFF, AGAIN)
    assert ledger.admit(OFF, ours=True) == ()
    assert ledger.admit(OFF, ours=False) == (OFF,)


def test_the_players_release_does_not_cut_ours() -> None:
    ledger = Ledger()
    ledger.admit(ON, ours=False)
    ledger.admit(AGAIN, ours=True)
    assert ledger.admit(OFF, ours=False) == ()
    assert ledger.admit(OFF, ours=True) == (OFF,)


def test_a_keyboard_that_loses_releases_leaves_no_key_down() -> None:
    ledger = Ledger()
    for _ in range(3):
        ledger.admit(ON, ours=False)
    assert ledger.admit(OFF, ours=False) == (OFF,)
    assert ledger.sounding == frozenset()


def test_a_release_that_nobody_waits_for_is_passed_on() -> None:
    assert Ledger().admit(OFF, ours=False) == (OFF,)


def test_the_release_of_a_strike_left_out_ends_no_other_note() -> None:
    ledger = Ledger()
    ledger.skip(ON)
    ledger.admit(AGAIN, ours=True)
    assert ledger.admit(OFF, ours=True) == ()
    assert ledger.admit(OFF, ours=True) == (OFF,)


def test_a_pedal_is_as_far_down_as_who_presses_it_most() -> None:
    ledger = Ledger()
    assert ledger.admit(down(40), ours=False) == (down(40),)
    assert ledger.admit(down(127), ours=True) == (down(127),)
    assert ledger.admit(down(90), ours=False) == ()
    assert ledger.admit(down(0), ours=True) == (down(90),)
    assert ledger.admit(down(0), ours=False) == (down(0),)


def test_releasing_ours_leaves_the_player_alone() -> None:
    ledger = Ledger()
    ledger.admit(ON, ours=True)
    ledger.admit(b"\x90\x40\x50", ours=True)
    ledger.admit(ON, ours=False)
    ledger.admit(down(127), ours=True)
    ledger.admit(down(30), ours=False)
    assert ledger.release_ours() == (b"\x80\x40\x40", down(30))
    assert ledger.sounding == {(0, 60)}
    assert ledger.admit(OFF, ours=False) == (OFF,)


def test_releasing_all_ends_notes_then_pedals_then_channels() -> None:
    ledger = Ledger()
    ledger.admit(b"\x93\x30\x50", ours=False)
    ledger.admit(ON, ours=True)
    ledger.admit(down(127), ours=True)
    ledger.admit(b"\xb5\x07\x64", ours=False)  # volume on another channel
    assert [message.hex(" ") for message in ledger.release_all()] == [
        "80 3c 40",
        "83 30 40",
        "b0 40 00",
        "b0 7b 00",  # MIDI 1.0: controller 123, all notes off
        "b3 7b 00",
        "b5 7b 00",
    ]
    assert ledger.release_all() == ()


def test_system_messages_pass_and_use_no_channel() -> None:
    ledger = Ledger()
    assert ledger.admit(b"\xf8", ours=False) == (b"\xf8",)
    assert ledger.release_all() == ()


messages = st.tuples(
    st.one_of(
        st.tuples(st.sampled_from([0x80, 0x90, 0x91]), st.integers(60, 62), st.integers(0, 2)),
        st.tuples(st.just(0xB0), st.sampled_from([64, 66, 67, 7]), st.integers(0, 127)),
    ).map(bytes),
    st.booleans(),
)


class Instrument:
    """A receiver that does what MIDI 1.0 says, and nothing about all-notes-off."""

    def __init__(self) -> None:
        self.keys: set[tuple[int, int]] = set()
        self.pedals: dict[tuple[int, int], int] = {}

    def take(self, sent: tuple[bytes, ...]) -> None:
        for status, first, second in sent:
            key = (status & 0x0F, first)
            if status & 0xF0 == 0xB0:
                self.pedals[key] = second
            elif status & 0xF0 == 0x90 and second:
                assert key not in self.keys, "struck again without a release"
                self.keys.add(key)
            else:
                self.keys.discard(key)


@given(st.lists(messages, max_size=60))
def test_whatever_was_sent_everything_is_released_at_the_end(
    given_messages: list[tuple[bytes, bool]],
) -> None:
    ledger, instrument = Ledger(), Instrument()
    for message, ours in given_messages:
        instrument.take(ledger.admit(message, ours=ours))
        assert instrument.keys == ledger.sounding
    instrument.take(ledger.release_all())
    assert instrument.keys == set()
    assert not any(
        value for (_, controller), value in instrument.pedals.items() if controller in (64, 66, 67)
    )


@given(st.lists(messages, max_size=60))
def test_after_a_hush_only_the_players_keys_sound(
    given_messages: list[tuple[bytes, bool]],
) -> None:
    ledger, instrument, alone = Ledger(), Instrument(), Instrument()
    only_theirs = Ledger()
    for message, ours in given_messages:
        instrument.take(ledger.admit(message, ours=ours))
        if not ours:
            alone.take(only_theirs.admit(message, ours=False))
    instrument.take(ledger.release_ours())
    assert instrument.keys == alone.keys
