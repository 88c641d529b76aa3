"""A link becomes MIDI messages: right bytes, right moments, nothing left down."""

from __future__ import annotations

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.live.messages import TimedMessage, messages_of
from livecont.music.pitch import Spelling, spelling
from livecont.sequence.pattern import Link, LinkNote, PedalMark
from livecont.sitting.events import Sound

C4, E4 = spelling("C4"), spelling("E4")


def note(
    offset_s: float,
    duration_s: float,
    pitch: Spelling = C4,
    velocity: int = 80,
    channel: int = 0,
) -> LinkNote:
    return LinkNote(
        offset_s=offset_s,
        duration_s=duration_s,
        spelling=pitch,
        velocity=velocity,
        channel=channel,
    )


def sound(*notes: LinkNote, pedals: tuple[PedalMark, ...] = (), start_s: float = 100.0) -> Sound:
    return Sound(start_s=start_s, link=Link(number=3, unit_s=2.0, notes=notes, pedals=pedals))


def pedal(offset_units: float, value: int, controller: int = 64) -> PedalMark:
    return PedalMark(offset_units=offset_units, controller=controller, value=value)


def read(messages: tuple[TimedMessage, ...]) -> list[tuple[float, str]]:
    """What mido, a second reader, makes of the bytes."""
    return [(one.due_s, str(mido.Message.from_bytes(one.data))) for one in messages]


def test_strikes_and_releases_in_time_order() -> None:
    assert read(messages_of(sound(note(0.5, 0.25, E4, 90, 2), note(0.0, 1.0)))) == [
        (100.0, "note_on channel=0 note=60 velocity=80 time=0"),
        (100.5, "note_on channel=2 note=64 velocity=90 time=0"),
        (100.75, "note_off channel=2 note=64 velocity=64 time=0"),
        (101.0, "note_off channel=0 note=60 velocity=64 time=0"),
    ]


def test_a_repeated_key_comes_up_before_it_goes_down() -> None:
    kinds = [text.split()[0] for _, text in read(messages_of(sound(note(0, 1), note(1, 1))))]
    assert kinds == ["note_on", "note_off", "note_on", "note_off"]


def test_a_note_of_no_length_is_struck_before_it_is_let_go() -> None:
    kinds = [text.split()[0] for _, text in read(messages_of(sound(note(0.5, 0.0))))]
    assert kinds == ["note_on", "note_off"]


def test_velocity_0_would_be_a_release_so_the_softest_is_1() -> None:
    assert messages_of(sound(note(0, 1, velocity=0)))[0].data == bytes((0x90, 60, 1))


def test_a_channel_that_was_chosen_holds_for_everything() -> None:
    link = sound(note(0, 1, channel=3), pedals=(pedal(0.1, 127), pedal(0.9, 0)))
    assert {one.data[0] & 0x0F for one in messages_of(link, channel=9)} == {9}


def test_pedals_go_to_every_channel_of_the_link() -> None:
    link = sound(
        note(0, 1, channel=3), note(0, 1, E4, channel=1), pedals=(pedal(0.25, 90), pedal(0.75, 10))
    )
    moves = [(one.due_s, *one.data) for one in messages_of(link) if one.data[0] & 0xF0 == 0xB0]
    assert moves == [
        (100.5, 0xB1, 64, 90),
        (100.5, 0xB3, 64, 90),
        (101.5, 0xB1, 64, 10),
        (101.5, 0xB3, 64, 10),
    ]


def test_a_pedal_left_down_comes_up_where_the_next_link_would_move_it() -> None:
    link = sound(note(0, 1), pedals=(pedal(0.1, 0), pedal(0.15, 127)))
    moves = [one for one in messages_of(link) if one.data[0] == 0xB0]
    assert [one.data[2] for one in moves] == [0, 127, 0]
    assert [one.due_s for one in moves] == pytest.approx([100.2, 100.3, 102.2])


def test_a_channel_that_midi_does_not_have_is_refused() -> None:
    with pytest.raises(ValueError, match="channel 16"):
        messages_of(sound(note(0, 1)), channel=16)


notes = st.builds(
    note,
    st.floats(0, 10),
    st.floats(0, 5),
    st.sampled_from([C4, E4]),
    st.integers(0, 127),
    st.integers(0, 15),
)


@given(st.lists(notes, max_size=20))
def test_every_strike_has_its_release(link_notes: list[LinkNote]) -> None:
    down: dict[tuple[int, int], int] = {}
    messages = messages_of(sound(*link_notes))
    for one in messages:
        key = (one.data[0] & 0x0F, one.data[1])
        down[key] = down.get(key, 0) + (1 if one.data[0] & 0xF0 == 0x90 else -1)
    assert not any(down.values())
    assert [one.due_s for one in messages] == sorted(one.due_s for one in messages)
    assert len(messages) == 2 * len(link_notes)
