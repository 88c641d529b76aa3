"""What can be seen of a sitting in each of its phases."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.events import KeyDown
from livecont.sitting.carrying import AHEAD_S
from livecont.sitting.events import Cue, Quit, Settings, Start
from livecont.sitting.machine import snapshot
from livecont.sitting.snapshot import Phase
from tests.sequence.heard import named, play
from tests.sitting.desk import Desk
from tests.strategies import PIANO

KEY = parse_key("C major")
SETTINGS = Settings(key=KEY, compass=PIANO, most_links=3)
MODEL = "E5.C4 G5 A4.F3 B4 C5.A3 F5 D5.B3 G4"
COPY = "D5.B3 F5 G4.E3 A4 B4.G3 E5 C5.A3 F4"
LINK_3 = "A3 C5 E5 D3 F4 G4 F3 A4 D5 G3 B4 E4"
PLAYED = play(f"{MODEL} {COPY}", 0.25)
DUE_S, UNIT_S = 5.0, 2.0


def played_until(desk: Desk, at_s: float) -> None:
    desk.give(*(event for event in PLAYED if event.at_s < at_s))


def test_before_anything_is_played() -> None:
    seen = Desk(replace(SETTINGS, key=None)).until(1.0)
    assert (seen.at_s, seen.phase, seen.key, seen.key_chosen) == (1.0, Phase.LISTENING, None, False)
    assert (seen.heard, seen.held, seen.links_heard, seen.coming) == ((), (), (), ())
    assert (seen.pattern, seen.sounding, seen.sounding_start_s) == (None, None, None)
    assert (seen.links_left, seen.last_end, seen.compass) == (None, None, PIANO)


def test_while_listening_the_latest_notes_and_the_keys_that_are_down() -> None:
    desk = Desk(SETTINGS)
    played_until(desk, 1.6)
    seen = desk.seen()
    assert (seen.phase, seen.key, seen.key_chosen) == (Phase.LISTENING, KEY, True)
    assert named(seen.heard) == "C4 E5 G5 F3 A4"
    assert seen.held == (spelling("F3").midi, spelling("A4").midi)


def test_heard_shows_the_latest_sixteen() -> None:
    desk = Desk(SETTINGS)
    played_until(desk, 9.0)
    seen = desk.seen()
    assert len(seen.heard) == 16
    assert seen.heard[-1] == spelling("F4")


def test_a_sequence_known_but_not_yet_whole_is_understood() -> None:
    """Six of eight onsets of the copy, after other music, and a cue to wait for."""
    desk = Desk(replace(SETTINGS, start=Start.ON_CUE))
    desk.give(*play("C4 G3 C4 E4 G4 D4 B3 G3", 0.25, 1.0))
    desk.give(*(e for e in play(f"{MODEL} {COPY}", 0.25, 3.0) if e.at_s < 6.45))
    seen = desk.until(6.47)
    assert seen.phase is Phase.UNDERSTOOD
    assert seen.pattern is not None
    assert seen.pattern.step_degrees == -1
    assert seen.sounding is None


def test_ready_shows_the_pattern_its_links_and_how_many_are_left() -> None:
    desk = Desk(replace(SETTINGS, start=Start.ON_CUE))
    played_until(desk, 9.0)
    seen = desk.until(20.0)
    assert seen.phase is Phase.READY
    assert seen.pattern is not None
    assert seen.pattern.unit_s == pytest.approx(UNIT_S)
    assert [sorted(named(link).split()) for link in seen.links_heard] == [
        sorted(text.replace(".", " ").split()) for text in (MODEL, COPY)
    ]
    assert [link.number for link in seen.coming] == [3, 4, 5]
    assert seen.links_left == 3
    assert (seen.sounding, seen.held) == (None, ())


def test_a_link_that_waits_for_its_moment_is_shown_with_it() -> None:
    desk = Desk(SETTINGS)
    played_until(desk, 9.0)
    seen = desk.until(DUE_S - 0.02)
    assert seen.phase is Phase.READY
    assert seen.sounding is not None
    assert seen.sounding.number == 3
    assert seen.sounding_start_s == pytest.approx(DUE_S)
    assert seen.held == ()


def test_while_sounding_the_link_and_what_is_left_counted_down() -> None:
    desk = Desk(SETTINGS)
    played_until(desk, 9.0)
    for n in range(3):
        seen = desk.until(DUE_S + n * UNIT_S + 0.1)
        assert seen.phase is Phase.SOUNDING
        assert seen.sounding is not None
        assert seen.sounding.number == 3 + n
        assert seen.sounding_start_s == pytest.approx(DUE_S + n * UNIT_S)
        assert [link.number for link in seen.coming] == list(range(4 + n, 6))
        assert seen.links_left == 2 - n
    assert desk.until(DUE_S + 3 * UNIT_S + 0.01).phase is Phase.LISTENING


def test_held_are_the_notes_that_sound_now_both_hands_and_ours() -> None:
    desk = Desk(SETTINGS)
    # the player holds his last key into our link
    held = spelling("F4").midi
    desk.give(*(e for e in PLAYED if e.at_s < 4.8 or isinstance(e, KeyDown)))
    at_once = desk.until(DUE_S + 0.1)
    assert at_once.held == (spelling("A3").midi, held, spelling("C5").midi)
    assert desk.until(DUE_S + 0.24).held == (held,)
    assert desk.until(DUE_S + 0.3).held == (held, spelling("E5").midi)


def test_a_snapshot_may_be_taken_later_than_the_last_event() -> None:
    desk = Desk(SETTINGS)
    played_until(desk, 9.0)
    desk.until(DUE_S + UNIT_S - AHEAD_S)
    sounding = snapshot(desk.state, DUE_S + UNIT_S - 0.001).sounding
    assert sounding is not None
    assert sounding.number == 3
    # the next link was handed over already, so it is known when it begins
    following = snapshot(desk.state, DUE_S + UNIT_S).sounding
    assert following is not None
    assert following.number == 4


def test_after_the_end_the_reason_stays_until_livecont_plays_again() -> None:
    desk = Desk(SETTINGS)
    played_until(desk, 9.0)
    seen = desk.until(DUE_S + 3 * UNIT_S + 1.0)
    assert (seen.phase, seen.last_end, seen.pattern) == (Phase.LISTENING, "limit", None)
    later_s = 20.0
    desk.give(*(replace(event, at_s=event.at_s + later_s) for event in PLAYED))
    assert desk.until(DUE_S + later_s + 0.1).last_end is None
    desk.give(Quit(at_s=later_s + 10.0))
    assert desk.seen().phase is Phase.ENDED


def test_on_cue_ready_turns_to_sounding_with_the_cue() -> None:
    desk = Desk(replace(SETTINGS, start=Start.ON_CUE))
    played_until(desk, 9.0)
    desk.give(Cue(at_s=8.0))
    seen = desk.until(8.01)
    assert seen.phase is Phase.SOUNDING
    assert seen.sounding is not None
    assert " ".join(note.spelling.name for note in seen.sounding.notes) == LINK_3
    assert seen.sounding_start_s == pytest.approx(8.0)
