"""What pedals, keys and the computer's keyboard do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import music21
import pytest

from livecont.live.controls import Panel, struck_key, typed_key
from livecont.music.key import parse_key
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sitting.events import (
    ChangeFullness,
    ChangeKey,
    ChangeKind,
    Cue,
    Quit,
    SittingEvent,
    Stop,
)


@dataclass(frozen=True)
class Map:
    pedals: Mapping[int, str] = field(default_factory=dict)
    keys: Mapping[int, str] = field(default_factory=dict)
    computer: Mapping[str, str] = field(default_factory=dict)


ALL = Map(
    pedals={67: "cue", 66: "stop"},
    keys={21: "change-key", 108: "quit"},
    computer={"space": "cue", "s": "stop", "k": "change-key", "q": "quit", "escape": "stop"},
)
WISHES = Map(
    pedals={66: "reduction"},
    keys={21: "tonal-real"},
    computer={"t": "tonal-real", "r": "reduction"},
)


def pedal(value: int, at_s: float = 1.0, controller: int = 67) -> PedalMove:
    return PedalMove(at_s=at_s, controller=controller, value=value)


def down(pitch: int, at_s: float = 1.0) -> KeyDown:
    return KeyDown(at_s=at_s, pitch=pitch, velocity=64)


def up(pitch: int, at_s: float = 1.0) -> KeyUp:
    return KeyUp(at_s=at_s, pitch=pitch)


def test_a_pedal_acts_once_when_it_goes_down_and_is_taken_from_the_music() -> None:
    """MIDI 1.0: 0..63 is up, 64..127 is down; half pedals send everything in between."""
    panel = Panel(ALL)
    heard = [panel.hear(pedal(value)) for value in (20, 63, 64, 100, 127, 80, 10, 0, 127)]
    cue = (Cue(at_s=1.0),)
    assert heard == [(), (), cue, (), (), (), (), (), cue]


def test_other_pedals_and_keys_are_music() -> None:
    panel = Panel(ALL)
    for event in (pedal(127, controller=64), down(60), up(60)):
        assert panel.hear(event) == (event,)


def test_tonal_or_real_and_the_main_notes_at_the_computer_and_at_the_instrument() -> None:
    panel = Panel(WISHES)
    kind, fullness = (ChangeKind(at_s=1.0),), (ChangeFullness(at_s=1.0),)
    assert (panel.type("t", 1.0), panel.type("r", 1.0)) == (kind, fullness)
    assert (panel.hear(down(21)), panel.hear(up(21))) == (kind, ())
    assert panel.hear(pedal(127, controller=66)) == fullness
    assert panel.hear(pedal(0, controller=66)) == ()


def test_a_wish_to_keep_is_counted_and_is_nothing_to_the_sitting() -> None:
    panel = Panel(Map(pedals={66: "keep"}, keys={21: "keep"}, computer={"b": "keep"}))
    assert panel.type("b", 1.0) == ()
    assert panel.hear(down(21)) == panel.hear(up(21)) == ()
    assert panel.hear(pedal(127, controller=66)) == panel.hear(pedal(0, controller=66)) == ()
    assert panel.keeps == 3
    panel.type("s", 1.0)
    assert panel.keeps == 3


def test_a_key_acts_when_struck() -> None:
    panel = Panel(ALL)
    assert panel.hear(down(108)) == (Quit(at_s=1.0),)
    assert panel.hear(up(108)) == ()


@pytest.mark.parametrize(
    ("sign", "event"),
    [(" ", Cue(at_s=2.0)), ("s", Stop(at_s=2.0)), ("q", Quit(at_s=2.0)), ("\x1b", Stop(at_s=2.0))],
)
def test_the_computers_keys(sign: str, event: SittingEvent) -> None:
    assert Panel(ALL).type(sign, 2.0) == (event,)


def test_a_sign_without_a_meaning_does_nothing() -> None:
    assert Panel(ALL).type("x", 2.0) == ()


def type_all(panel: Panel, signs: str) -> list[SittingEvent]:
    return [event for sign in signs for event in panel.type(sign, 3.0)]


def test_a_key_is_typed_in_a_line_in_which_controls_are_letters() -> None:
    panel = Panel(ALL)
    assert type_all(panel, "kf# lydiam\x7fn\r") == [ChangeKey(at_s=3.0, key=parse_key("F# lydian"))]
    assert panel.line is None


def test_a_line_that_names_no_key_stays_open_with_a_complaint() -> None:
    panel = Panel(ALL)
    assert type_all(panel, "ke minro\r") == []
    assert panel.line == "e minro"
    assert panel.complaint is not None
    assert "minor" in panel.complaint
    assert type_all(panel, "\b\b\bnor\r") == [ChangeKey(at_s=3.0, key=parse_key("e minor"))]
    assert panel.complaint is None


def test_escape_forgets_the_line_and_auto_means_estimate() -> None:
    panel = Panel(ALL)
    assert type_all(panel, "ke mi\x1b") == []
    assert panel.line is None
    assert type_all(panel, "kauto\n") == [ChangeKey(at_s=3.0, key=None)]
    assert typed_key("  ") is None


def test_a_line_has_an_end() -> None:
    panel = Panel(ALL)
    type_all(panel, "k" + "x" * 1000)
    assert panel.line is not None
    assert len(panel.line) < 100


def test_a_key_is_struck_while_the_control_is_held() -> None:
    panel = Panel(ALL)
    events: list[PlayerEvent] = [down(21), down(52), up(52), down(55), up(21), up(55), down(60)]
    heard = [panel.hear(event) for event in events]
    assert heard == [
        (),
        (),
        (),
        (),
        (ChangeKey(at_s=1.0, key=parse_key("e minor")),),
        (),
        (down(60),),
    ]


def test_a_control_held_without_a_strike_means_estimate() -> None:
    panel = Panel(ALL)
    panel.hear(down(21))
    assert panel.hear(up(21)) == (ChangeKey(at_s=1.0, key=None),)


@pytest.mark.parametrize("tonic", range(12))
@pytest.mark.parametrize(("third", "mode"), [(3, "minor"), (4, "major")])
def test_struck_keys_have_the_usual_signature(tonic: int, third: int, mode: str) -> None:
    """music21 says how many sharps or flats; no spelling of the tonic has fewer."""
    key = struck_key([60 + tonic, 60 + tonic + third])
    assert key is not None
    theirs = music21.key.Key(key.tonic.replace("b", "-"), mode)
    assert theirs.sharps == key.fifths
    assert theirs.tonic.pitchClass == tonic
    assert abs(key.fifths) <= 6
