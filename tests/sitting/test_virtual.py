"""A whole sitting in virtual time: as far as it asks to go, and silent at the end."""

from __future__ import annotations

import pytest

from livecont.errors import TransitionError
from livecont.music.key import parse_key
from livecont.sitting import virtual
from livecont.sitting.events import Ended, Hush, Settings, SittingEvent, Sound, TookOver, Wake
from livecont.sitting.machine import State, step
from livecont.sitting.virtual import run, take_overs
from tests.sequence.heard import play
from tests.sitting.desk import Desk
from tests.strategies import PIANO

SETTINGS = Settings(key=parse_key("C major"), compass=PIANO, most_links=3)
PLAYED = play("E5.C4 G5 A4.F3 B4 C5.A3 F5 D5.B3 G4 D5.B3 F5 G4.E3 A4 B4.G3 E5 C5.A3 F4", 0.25)


def test_it_does_what_the_machine_does_with_the_same_ticks() -> None:
    effects = list(run(SETTINGS, PLAYED))
    desk = Desk(SETTINGS)
    desk.give(*PLAYED)
    desk.until(30.0)
    by_hand = [effect for _, effect in desk.effects]
    assert effects[: len(by_hand)] == by_hand
    assert [type(effect) for effect in effects[len(by_hand) :]] == [Hush]


def test_the_end_of_the_file_is_not_the_end_of_the_chain() -> None:
    """The second link ends with the last event; the third is due after it, as in life."""
    effects = list(run(SETTINGS, PLAYED))
    assert [took.link.number for took in take_overs(effects)] == [3]
    assert [effect.reason for effect in effects if isinstance(effect, Ended)] == ["limit"]


def test_it_stops_when_its_time_is_over_and_is_silent() -> None:
    effects = list(run(SETTINGS, PLAYED, aftermath_s=1.0))
    assert len(take_overs(effects)) == 1
    assert isinstance(effects[-2], Hush)
    ended = effects[-1]
    assert isinstance(ended, Ended)
    assert ended.reason == "quit"
    assert sum(isinstance(effect, Sound) for effect in effects) < 6


def test_nothing_in_nothing_out() -> None:
    assert list(run(SETTINGS, [])) == [Hush(at_s=0.0)]


def test_effects_come_as_they_come_about() -> None:
    """Lazily: a recording of an hour need not be heard out before the first take-over is told."""
    effects = run(SETTINGS, iter(PLAYED))
    first = next(effect for effect in effects if isinstance(effect, TookOver))
    assert first.link.number == 3
    assert next(effects) is not None


@pytest.mark.parametrize("onward_s", [0.0, 1e-9], ids=["standing", "creeping"])
def test_ticks_without_end_are_a_fault_and_no_endless_run(
    monkeypatch: pytest.MonkeyPatch, onward_s: float
) -> None:
    def again(state: State, event: SittingEvent) -> tuple[State, tuple[Wake, ...]]:
        return step(state, event)[0], (Wake(at_s=event.at_s + onward_s),)

    monkeypatch.setattr(virtual, "step", again)
    with pytest.raises(TransitionError, match="tick after tick"):
        list(run(SETTINGS, PLAYED))
