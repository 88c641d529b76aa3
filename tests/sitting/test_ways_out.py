"""Every way out of a sitting is silent and says why; the key may change on the way."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.compass import Compass
from livecont.music.key import parse_key
from livecont.sitting.events import (
    ChangeKey,
    Cue,
    Ended,
    Hush,
    Lost,
    Quit,
    SittingEvent,
    Sound,
    Stop,
    TookOver,
)
from livecont.sitting.snapshot import Phase
from tests.sequence.heard import play
from tests.sitting.desk import Desk, names
from tests.sitting.material import DUE_S, LINK_3, LINKS, SETTINGS, UNIT_S, later, played, seated

# --- the ways out -------------------------------------------------------------------------------

WAYS_OUT: tuple[tuple[type[Stop | Lost | Quit], str], ...] = (
    (Stop, "stopped"),
    (Lost, "lost"),
    (Quit, "quit"),
)


@pytest.mark.parametrize(("way", "reason"), WAYS_OUT)
@pytest.mark.parametrize("at_s", [5.2, 8.0])
def test_every_way_out_is_silent_and_says_why(
    way: type[Stop | Lost | Quit], reason: str, at_s: float
) -> None:
    desk = seated()
    effects = desk.give(way(at_s=at_s))
    assert effects == (Hush(at_s=at_s), Ended(at_s=at_s, reason=reason))
    seen = desk.seen()
    assert seen.phase is (Phase.ENDED if way is Quit else Phase.LISTENING)
    assert seen.last_end == reason
    assert seen.pattern is None
    desk.until(60.0)
    assert desk.pending() == []


@pytest.mark.parametrize(("way", "reason"), WAYS_OUT)
@pytest.mark.parametrize("at_s", [0.5, 3.0, 4.96, 4.98])
def test_before_anything_sounds_a_way_out_is_only_silent(
    way: type[Stop | Lost | Quit], reason: str, at_s: float
) -> None:
    """Also while a link is handed over and not yet begun: it is called off."""
    desk = Desk(SETTINGS)
    desk.give(*(event for event in played() if event.at_s < at_s))
    effects = desk.give(way(at_s=at_s))
    assert effects == (Hush(at_s=at_s),)
    desk.until(30.0)
    assert desk.all(TookOver) == []
    assert desk.all(Ended) == []


def test_after_a_stop_listening_goes_on() -> None:
    desk = seated()
    desk.give(Stop(at_s=6.0))
    desk.give(*(later(event, 10.0) for event in played()))
    desk.until(DUE_S + 10.0 + 0.001)
    assert len(desk.all(TookOver)) == 2
    assert desk.seen().last_end is None


def test_after_the_end_nothing_moves_any_more() -> None:
    desk = seated()
    desk.give(Quit(at_s=6.0))
    count = len(desk.effects)
    events: list[SittingEvent] = [*(later(e, 10.0) for e in played()), Cue(at_s=17.0)]
    desk.give(*events, Stop(at_s=18.0), Quit(at_s=19.0))
    desk.until(60.0)
    assert len(desk.effects) == count
    assert desk.seen().phase is Phase.ENDED


# --- the key ------------------------------------------------------------------------------------


def test_another_key_counts_from_the_next_pattern_on() -> None:
    """In d minor the chain's B becomes the flat one of the signature."""
    desk = Desk(SETTINGS)
    desk.give(ChangeKey(at_s=0.1, key=parse_key("A major")))
    assert (desk.seen().key, desk.seen().key_chosen) == (parse_key("A major"), True)
    sharp = " ".join(LINKS[:2])
    for letter in "CFG":
        sharp = sharp.replace(letter, f"{letter}#")
    desk.give(*play(sharp, 0.25))
    desk.until(DUE_S + 0.01)
    (took,) = desk.all(TookOver)
    assert took.pattern.key == parse_key("A major")
    assert {note.spelling.alter for note in took.link.notes if note.spelling.letter == 0} == {1}


def test_the_key_can_be_left_to_be_estimated() -> None:
    desk = Desk(SETTINGS)
    desk.give(ChangeKey(at_s=0.1, key=None))
    assert (desk.seen().key, desk.seen().key_chosen) == (None, False)
    desk.give(*played())
    seen = desk.until(DUE_S)
    assert seen.key == parse_key("C major")
    assert not seen.key_chosen
    assert names(desk.all(TookOver)[0].link) == LINK_3


def test_changing_the_key_while_livecont_plays_does_not_break_it_off() -> None:
    desk = seated()
    desk.give(ChangeKey(at_s=6.0, key=parse_key("F major")))
    desk.until(DUE_S + 3 * UNIT_S + 0.01)
    assert [sound.link.number for sound in desk.pending()] == [3, 4, 5]
    assert [ended.reason for ended in desk.all(Ended)] == ["limit"]


def test_a_compass_that_lacks_keys_is_never_left() -> None:
    short = Compass(
        name="s", title="", lowest=36, highest=84, absent=frozenset({37, 39, 42, 44}), source=""
    )
    desk = seated(replace(SETTINGS, compass=short, most_links=None))
    desk.until(120.0)
    assert all(short.holds(n.pitch for n in sound.link.notes) for sound in desk.all(Sound))
    assert [ended.reason for ended in desk.all(Ended)] == ["compass"]
