"""Choosing ports by their names, as the drivers of three platforms write them."""

from __future__ import annotations

import pytest

from livecont.errors import PortError
from livecont.live.port_names import (
    again,
    choose_input,
    choose_inputs,
    choose_output,
    device,
    is_ours,
    is_through,
)

THROUGH = "Midi Through:Midi Through Port-0 14:0"
STAGE = "Stage 61:Stage 61 MIDI 1 20:0"
UPRIGHT = "Upright:Upright MIDI 1 24:0"
OURS = "livecont:out"


def test_the_only_keyboard_is_chosen_by_itself() -> None:
    assert choose_input([THROUGH, OURS, STAGE]).name == STAGE


@pytest.mark.parametrize("wanted", ["upright", "UPRIGHT MIDI", " Upright ", UPRIGHT])
def test_of_several_one_is_chosen_by_a_part_of_its_name(wanted: str) -> None:
    choice = choose_input([THROUGH, STAGE, UPRIGHT], wanted)
    assert (choice.name, choice.others) == (UPRIGHT, (STAGE,))


def test_a_whole_name_goes_before_longer_ones_that_hold_it() -> None:
    assert choose_input(["Keys", "Keys 2"], "keys").name == "Keys"


def test_several_and_none_named_is_an_error_that_lists_them() -> None:
    with pytest.raises(PortError, match=r"several.*Stage 61.*Upright.*--in"):
        choose_input([STAGE, UPRIGHT])


def test_none_there_is_an_error_that_says_what_to_do() -> None:
    with pytest.raises(PortError, match="plug one in"):
        choose_input([THROUGH, OURS])


def test_no_such_name_is_an_error_that_lists_what_there_is() -> None:
    with pytest.raises(PortError, match=r"'organ'.*Stage 61"):
        choose_input([STAGE], "organ")


def test_a_name_that_fits_several_is_an_error() -> None:
    with pytest.raises(PortError, match="say more of the name"):
        choose_input([STAGE, UPRIGHT], "midi 1")


@pytest.mark.parametrize("name", [THROUGH, OURS, "livecont ports-01:pulse"])
def test_through_ports_and_our_own_are_not_chosen_even_by_name(name: str) -> None:
    with pytest.raises(PortError):
        choose_input([name, STAGE], name)
    with pytest.raises(PortError):
        choose_output([name], name)


def test_a_bus_between_programs_is_no_keyboard_while_there_is_one() -> None:
    assert choose_input(["IAC Driver Bus 1", "Stage 61"]).name == "Stage 61"
    assert choose_input(["IAC Driver Bus 1"]).name == "IAC Driver Bus 1"


def test_several_keyboards_at_once() -> None:
    names = [THROUGH, STAGE, UPRIGHT]
    assert [c.name for c in choose_inputs(names, "all")] == [STAGE, UPRIGHT]
    assert [c.name for c in choose_inputs(names, "upright, stage, 61")] == [UPRIGHT, STAGE]
    assert [c.name for c in choose_inputs([STAGE])] == [STAGE]
    with pytest.raises(PortError, match="plug one in"):
        choose_inputs([THROUGH], "all")


@pytest.mark.parametrize(
    ("names", "input_name"),
    [
        (["Midi Through:Midi Through Port-0 14:0", "Stage 61:Stage 61 MIDI 1 20:0"], STAGE),
        (["a2j:Stage 61 [20] (playback): MIDI 1"], "a2j:Stage 61 [20] (capture): MIDI 1"),
        (["system:midi_playback_1"], "system:midi_capture_1"),
        (["Stage 61 1"], "Stage 61 0"),  # Windows numbers each list by itself
        (["Stage 61 MIDI OUT"], "Stage 61 MIDI IN"),
    ],
)
def test_the_keyboards_own_sound_is_the_first_choice(names: list[str], input_name: str) -> None:
    choice = choose_output(["Some Synth", *names], None, input_name)
    assert choice.name == names[-1]
    assert "own sound" in choice.reason


def test_else_a_synth_goes_before_other_ports_and_a_port_before_our_own_sound() -> None:
    assert choose_output([THROUGH, "Recorder", "Wavetable Synth"], None, STAGE).name == (
        "Wavetable Synth"
    )
    assert choose_output([THROUGH, "Recorder"], None, STAGE).name == "Recorder"
    assert choose_output([THROUGH, OURS, "IAC Driver Bus 1"], None, STAGE).name == "internal"


def test_an_output_by_name() -> None:
    assert choose_output([STAGE], "internal", STAGE).name == "internal"
    assert choose_output([STAGE], "NONE", STAGE).name == "none"
    assert choose_output([STAGE, UPRIGHT], "upr", STAGE).name == UPRIGHT
    with pytest.raises(PortError, match="there is none"):
        choose_output([], "upr")


def test_a_port_is_found_again_though_its_numbers_changed() -> None:
    assert again([THROUGH, "Stage 61:Stage 61 MIDI 1 28:0"], STAGE) == (
        "Stage 61:Stage 61 MIDI 1 28:0"
    )
    assert again(["Stage 61 3"], "Stage 61 0") == "Stage 61 3"
    assert again([UPRIGHT], STAGE) is None


def test_two_ports_of_one_device_are_told_apart() -> None:
    assert device("Stage:Stage MIDI 1 20:0") != device("Stage:Stage MIDI 2 20:1")
    names = ["Stage:Stage MIDI 1 28:0", "Stage:Stage MIDI 2 28:1"]
    assert again(names, "Stage:Stage MIDI 2 20:1") == names[1]


def test_what_is_a_through_port_and_what_is_ours() -> None:
    assert is_through("a2j:Midi Through [14] (capture): Midi Through Port-0")
    assert is_through("MIDI Thru")
    assert not is_through("Breakthrough Keys")
    assert is_ours("livecont ports:pulse")
    assert not is_ours("Stage 61")
