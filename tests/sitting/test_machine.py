"""The sitting: taking over when due, giving way, on a pause, on a cue, and every way out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.sequence.events import SUSTAIN, KeyDown, KeyUp, PedalMove
from livecont.sitting.events import (
    Cue,
    Effect,
    Ended,
    GaveWay,
    Hush,
    Sound,
    Start,
    TookOver,
    Understood,
)
from livecont.sitting.snapshot import Phase
from livecont.sitting.state import GRACE_S, LEAD_S, PAUSE_S
from tests.sequence.heard import play
from tests.sitting.desk import Desk, key_down, names
from tests.sitting.material import (
    DUE_S,
    LINK_3,
    LINKS,
    SETTINGS,
    UNIT_S,
    later,
    pitch,
    played,
    seated,
)
from tests.strategies import PIANO


def moments(desk: Desk, kind: type[Effect]) -> list[float]:
    return [at_s for at_s, effect in desk.effects if isinstance(effect, kind)]


# --- taking over --------------------------------------------------------------------------------


def test_the_third_link_is_handed_over_shortly_before_it_is_due() -> None:
    desk = seated()
    desk.until(DUE_S - LEAD_S - 0.001)
    assert desk.pending() == []
    desk.until(DUE_S - LEAD_S + 0.001)
    (sound,) = desk.pending()
    assert sound.start_s == pytest.approx(DUE_S)
    assert moments(desk, Sound)[-1] == pytest.approx(DUE_S - LEAD_S)
    assert desk.all(TookOver) == []
    assert names(sound.link) == LINK_3


def test_at_the_due_time_livecont_has_taken_over() -> None:
    desk = seated()
    seen = desk.until(DUE_S + 0.001)
    (took,) = desk.all(TookOver)
    assert took.start_s == pytest.approx(DUE_S)
    assert took.at_s == pytest.approx(DUE_S - LEAD_S)
    assert took.link == desk.pending()[0].link
    assert (took.pattern.step_degrees, took.link.number) == (-1, 3)
    assert seen.phase is Phase.SOUNDING


def test_each_further_link_is_handed_over_while_the_one_before_sounds() -> None:
    desk = seated()
    desk.until(DUE_S + 3 * UNIT_S)
    sounds = desk.pending()
    assert [sound.link.number for sound in sounds] == [3, 4, 5]
    for n, (sound, at_s) in enumerate(zip(sounds, moments(desk, Sound)[-3:], strict=True)):
        assert sound.start_s == pytest.approx(DUE_S + n * UNIT_S)
        assert at_s < sound.start_s
    assert len(desk.all(TookOver)) == 1


def test_the_chain_ends_at_its_limit_when_its_last_link_has_ended() -> None:
    desk = seated()
    desk.until(DUE_S + 3 * UNIT_S - 0.001)
    assert desk.all(Ended) == []
    seen = desk.until(DUE_S + 3 * UNIT_S + 0.001)
    (ended,) = desk.all(Ended)
    assert ended.reason == "limit"
    assert ended.at_s == pytest.approx(DUE_S + 3 * UNIT_S)
    assert (seen.phase, seen.last_end) == (Phase.LISTENING, "limit")


def test_the_chain_ends_where_the_compass_does() -> None:
    narrow = replace(PIANO, lowest=pitch("C3"))
    desk = Desk(replace(SETTINGS, compass=narrow, most_links=None))
    desk.give(*played())
    desk.until(60.0)
    numbers = [sound.link.number for sound in desk.pending()]
    assert numbers == [3, 4]  # the fourth has C3, the fifth would have B2
    assert [ended.reason for ended in desk.all(Ended)] == ["compass"]


def test_no_room_for_even_one_link_is_told_and_nothing_sounds() -> None:
    desk = seated(replace(SETTINGS, compass=replace(PIANO, lowest=pitch("E3"))))
    seen = desk.until(DUE_S)
    assert desk.pending() == []
    assert desk.all(TookOver) == []
    assert {ended.reason for ended in desk.all(Ended)} == {"compass"}
    assert seen.last_end == "compass"


def test_below_the_level_of_confidence_nothing_sounds_by_itself() -> None:
    desk = seated(replace(SETTINGS, least_confidence=1.0))
    desk.until(30.0)
    assert desk.pending() == []
    assert desk.all(Understood) == []


def test_where_the_last_note_is_not_certain_the_player_is_given_grace() -> None:
    """The copy lacks its last note, which may still come; it goes on if he stops."""
    other = play("C4 G3 C4 E4 G4 D4 B3 G3", 0.25, 1.0)
    events = [event for event in played(start_s=3.0) if event.at_s < 6.7]
    desk = Desk(SETTINGS)
    desk.give(*other, *events)
    due_s = 6.75
    desk.until(due_s + GRACE_S - 0.01)
    assert desk.all(TookOver) == []
    (sound,) = desk.pending()
    # what was due meanwhile sounds when the grace has passed, and not before
    assert min(note.offset_s for note in sound.link.notes) == pytest.approx(GRACE_S)
    desk.until(due_s + GRACE_S + 0.01)
    (took,) = desk.all(TookOver)
    assert took.start_s == pytest.approx(due_s, abs=0.02)


def test_a_pattern_is_told_off_the_note_path() -> None:
    desk = Desk(SETTINGS)
    for event in played():
        effects = desk.give(event)
        assert not any(isinstance(effect, Understood | Sound) for effect in effects)
    desk.until(DUE_S)
    assert desk.all(Understood) != []


# --- giving way ---------------------------------------------------------------------------------


def test_a_note_before_the_due_time_calls_the_link_off() -> None:
    desk = seated()
    desk.until(DUE_S - 0.01)
    assert desk.pending() != []
    effects = desk.give(key_down(DUE_S - 0.005, pitch("C5")))
    assert effects == (Hush(at_s=DUE_S - 0.005),)
    desk.until(DUE_S + 0.1)
    assert desk.all(TookOver) == []
    assert desk.all(GaveWay) == []
    assert desk.pending() == []


@pytest.mark.parametrize("after_s", [0.01, 0.3, 1.9, 2.5, 5.0])
def test_the_first_note_of_the_player_silences_livecont_at_once(after_s: float) -> None:
    desk = seated()
    desk.until(DUE_S + after_s - 0.001)
    assert desk.seen().phase is Phase.SOUNDING
    effects = desk.give(key_down(DUE_S + after_s))
    assert effects == (Hush(at_s=DUE_S + after_s), GaveWay(at_s=DUE_S + after_s))
    assert desk.seen().phase is Phase.LISTENING
    assert desk.pending() == []
    # and goes back to listening: one note is no sequence
    desk.until(DUE_S + 20.0)
    assert desk.pending() == []
    assert len(desk.all(TookOver)) == 1


@pytest.mark.parametrize("start", list(Start))
@pytest.mark.parametrize(
    ("after_s", "name"),
    [(0.01, "C5"), (0.26, "E5"), (0.8, "G4"), (1.76, "E4"), (0.3, "F#4"), (1.9, "C4")],
)
def test_after_giving_way_nothing_overdue_is_poured_out(
    start: Start, after_s: float, name: str
) -> None:
    """One note of the player's, the one due or another, and no more: a link whose time has passed
    is not made up for all at once."""
    desk = seated(replace(SETTINGS, start=start))
    began_s = DUE_S + (PAUSE_S if start is Start.ON_PAUSE else 0.0)
    if start is Start.ON_CUE:
        desk.give(Cue(at_s=DUE_S - 0.04))
    desk.until(began_s + after_s - 0.001)
    assert desk.seen().phase is Phase.SOUNDING
    desk.give(key_down(began_s + after_s, pitch(name)))
    desk.until(began_s + 10.0)
    for at_s, effect in desk.effects:
        if isinstance(effect, Sound):
            first_s = effect.start_s + min(note.offset_s for note in effect.link.notes)
            assert first_s > at_s - 0.1


def test_lifting_keys_and_pedalling_is_not_playing() -> None:
    desk = seated()
    desk.give(
        PedalMove(at_s=DUE_S + 0.1, controller=SUSTAIN, value=127),
        KeyUp(at_s=DUE_S + 0.2, pitch=pitch("D4")),
        PedalMove(at_s=DUE_S + 0.3, controller=SUSTAIN, value=0),
    )
    assert desk.pending() != []
    assert desk.all(GaveWay) == []
    assert desk.until(DUE_S + 0.4).phase is Phase.SOUNDING


def test_a_player_who_carries_on_by_himself_is_followed_link_by_link() -> None:
    """A little late, so that livecont had begun: it gives way, stays silent inside his links, and
    takes over where he stops."""
    desk = Desk(replace(SETTINGS, most_links=1))
    late_s = 0.02
    desk.give(*played(2))
    third_on = [e for e in played(4) if e.at_s >= 4.999]
    for event in third_on:
        if isinstance(event, KeyDown | KeyUp):
            desk.give(replace(event, at_s=event.at_s + late_s))
    assert desk.all(GaveWay) != []
    for gave_way in desk.all(GaveWay):
        assert (gave_way.at_s - 1.0) % UNIT_S == pytest.approx(late_s)
    desk.until(12.0)
    last = desk.all(TookOver)[-1]
    assert last.start_s == pytest.approx(9.0 + late_s, abs=0.02)
    assert last.link.number == 5
    assert names(last.link) == " ".join(n.replace(".", " ") for n in sorted_words(LINKS[4]))


@pytest.mark.parametrize("pause_s", [2.5, 5.0])
def test_who_plays_the_same_two_links_once_more_is_heard(pause_s: float) -> None:
    """He broke in and paused: both attempts are alike, and still no link of twice the length."""
    desk = seated()
    desk.until(DUE_S + 0.1)
    desk.give(*play("F#4", 0.25, DUE_S + 0.1))
    assert len(desk.all(TookOver)) == len(desk.all(GaveWay)) == 1
    again_s = desk.state.now_s + pause_s
    desk.give(*played(start_s=again_s))
    desk.until(again_s + 2 * UNIT_S + 0.5)
    _, taken = desk.all(TookOver)
    assert taken.start_s == pytest.approx(again_s + 2 * UNIT_S, abs=0.02)
    assert names(taken.link) == LINK_3


@pytest.mark.parametrize("stops", [True, False])
def test_a_link_with_a_note_more_than_it_seemed_to_have(*, stops: bool) -> None:
    """What was played before made it seem whole a note early: the note more makes it whole.

    Taken over once more at its end; who goes on as he likes after that is not interrupted again.
    """
    before, link_1, link_2 = "F5 G5 E5 B4 F#4", "A4 E5 F5 D5 G4 C5", "G4 D5 E5 C5 F4 Bb4"
    desk = Desk(replace(SETTINGS, most_links=1))
    desk.give(*play(f"{before} {link_1} {link_2}".removesuffix("Bb4"), 0.25))
    last_s = 1.0 + 16 * 0.25 + 0.01
    desk.until(last_s)
    assert len(desk.all(TookOver)) == 1
    assert not names(desk.all(TookOver)[0].link).startswith("Bb4")
    desk.give(*play("Bb4", 0.25, last_s))
    assert len(desk.all(GaveWay)) == 1
    if stops:
        desk.until(10.0)
        assert names(desk.all(TookOver)[-1].link) == "F4 C5 D5 Bb4 E4 A4"
    else:
        desk.give(*play("F4 C5 D5 Bb4 E4 A4", 0.25, last_s + 0.27))
        taken = [one.start_s for one in desk.all(TookOver)]
        assert len(taken) == 2, taken


def sorted_words(text: str) -> list[str]:
    """Each word's names the lowest first, as livecont sets them."""
    return [".".join(sorted(word.split("."), key=pitch)) for word in text.split()]


def test_after_a_link_of_livecont_two_new_links_are_needed() -> None:
    """What he played before livecont's link is not compared with what he plays after it."""
    desk = seated()
    desk.until(DUE_S + 2.2 * UNIT_S)
    desk.give(*play(LINKS[4], 0.25, DUE_S + 2.5 * UNIT_S))
    desk.until(40.0)
    assert len(desk.all(TookOver)) == 1
    desk.give(*(later(e, 40.0) for e in played()))
    desk.until(60.0)
    assert len(desk.all(TookOver)) == 2


def test_a_note_inside_the_second_link_that_breaks_it_calls_everything_off() -> None:
    broken = [e for e in played() if e.at_s < 3.9]
    desk = Desk(SETTINGS)
    desk.give(*broken, *play("F#4 C#5 G#4 D#5 A#4 F#5", 0.25, 4.0))
    desk.until(30.0)
    assert desk.all(TookOver) == []


# --- on a pause, on a cue -----------------------------------------------------------------------


def test_on_pause_it_waits_until_the_hands_have_stopped() -> None:
    desk = seated(replace(SETTINGS, start=Start.ON_PAUSE))
    desk.until(DUE_S + PAUSE_S - LEAD_S - 0.001)
    assert desk.pending() == []
    desk.until(DUE_S + PAUSE_S + 0.001)
    (took,) = desk.all(TookOver)
    assert took.start_s == pytest.approx(DUE_S + PAUSE_S)


def test_on_pause_playing_on_is_no_pause() -> None:
    desk = Desk(replace(SETTINGS, start=Start.ON_PAUSE))
    desk.give(*played(5))
    assert desk.pending() == []
    desk.until(30.0)
    assert [took.link.number for took in desk.all(TookOver)] == [6]


def test_on_cue_nothing_sounds_without_it() -> None:
    desk = seated(replace(SETTINGS, start=Start.ON_CUE))
    seen = desk.until(120.0)
    assert desk.pending() == []
    assert seen.phase is Phase.READY


@pytest.mark.parametrize(
    ("cue_s", "start_s"), [(4.96, DUE_S), (4.99, DUE_S), (5.5, 5.5), (60.0, 60.0)]
)
def test_a_cue_means_when_due_or_now(cue_s: float, start_s: float) -> None:
    desk = seated(replace(SETTINGS, start=Start.ON_CUE))
    desk.give(Cue(at_s=cue_s))
    desk.until(start_s + 0.001)
    (took,) = desk.all(TookOver)
    assert took.start_s == pytest.approx(start_s)
    assert names(took.link) == LINK_3


@pytest.mark.parametrize("start", list(Start))
def test_a_cue_with_nothing_heard_is_passed_over(start: Start) -> None:
    desk = Desk(replace(SETTINGS, start=start))
    desk.give(Cue(at_s=1.0), *play("C4 E4 G4", 0.25, 2.0), Cue(at_s=3.0))
    desk.until(20.0)
    assert desk.pending() == []


@pytest.mark.parametrize("start", [Start.AT_ONCE, Start.ON_PAUSE, Start.ON_CUE])
@pytest.mark.parametrize("cue_s", [4.96, 4.98, 5.29, 5.6])
def test_a_link_is_handed_over_once_however_often_it_is_asked_for(
    start: Start, cue_s: float
) -> None:
    """A second cue, or one just before the due time, must not sound every note twice."""
    desk = seated(replace(SETTINGS, start=start))
    desk.give(Cue(at_s=cue_s), Cue(at_s=cue_s + 0.005))
    desk.until(cue_s + 1.0)
    numbers = [sound.link.number for sound in desk.pending()]
    assert numbers == sorted(set(numbers))
    assert len(desk.all(TookOver)) == 1
