"""Lessons in virtual time: each kind of step, the student's hand, his answer, his example."""

from __future__ import annotations

import random  # noqa: TID251 -- seeded
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.demo import load_piece, perform
from livecont.ear.hand import begin as begin_hand
from livecont.ear.hand import parts, strike, together
from livecont.ear.lesson import begin, step
from livecont.ear.lesson_state import Lesson, LessonPhase, Teaching
from livecont.ear.lesson_view import view
from livecont.ear.models import model, model_names
from livecont.ear.plan import Hand, Plan, PlanStep, Show, load_plan, plan_names
from livecont.ear.questions import links_of
from livecont.ear.sounds import Keep, Over, SessionEffect, SessionEvent, Typed
from livecont.sequence.chain import Chain
from livecont.sequence.events import KeyDown, KeyUp, PedalMove
from livecont.sitting.events import Lost, Sound, Tick, Wake
from tests.ear.gaming import MODERN, setup

FIFTHS = model("falling-fifths")


def teaching(*steps: PlanStep, name: str | None = "falling-fifths") -> Teaching:
    plan = Plan(title="a lesson", model=name, key=None, tempo=100, steps=steps)
    matter = model(name) if name is not None else None
    return Teaching(
        plan=plan,
        matter=matter,
        source=name or "",
        of_a_model=matter is not None,
        player="one",
        setup=setup(),
        compass=MODERN,
    )


class Room:
    """A lesson being held; as `gaming.Table`."""

    def __init__(self, held: Teaching) -> None:
        self.now_s = 0.0
        self.effects: list[SessionEffect] = []
        self.wake_s: float | None = None
        self.lesson: Lesson
        self._take(*begin(held, 0.0))

    def _take(self, lesson: Lesson, effects: tuple[SessionEffect, ...]) -> None:
        self.lesson = lesson
        for effect in effects:
            if isinstance(effect, Wake):
                self.wake_s = effect.at_s
            else:
                self.effects.append(effect)

    def give(self, event: SessionEvent) -> None:
        self.until(event.at_s)
        self._take(*step(self.lesson, event))

    def until(self, at_s: float) -> None:
        while self.wake_s is not None and self.wake_s <= at_s:
            self.now_s, self.wake_s = max(self.now_s, self.wake_s), None
            self._take(*step(self.lesson, Tick(at_s=self.now_s)))
        self.now_s = max(self.now_s, at_s)

    def strike(self, pitch: int, after_s: float = 0.2) -> None:
        at_s = self.now_s + after_s
        self.give(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
        self.give(KeyUp(at_s=at_s + 0.05, pitch=pitch))

    def press(self, controller: int = 67) -> None:
        self.give(PedalMove(at_s=self.now_s + 0.1, controller=controller, value=127))
        self.give(PedalMove(at_s=self.now_s + 0.1, controller=controller, value=0))

    def shown(self) -> None:
        self.until(self.lesson.ends_s + 0.01)
        assert self.at(LessonPhase.SHOWN)

    def at(self, phase: LessonPhase) -> bool:
        return self.lesson.phase is phase

    def sounds(self) -> list[Sound]:
        return [one for one in self.effects if isinstance(one, Sound)]

    def said(self) -> str:
        shown = view(self.lesson, self.now_s)
        return " / ".join((shown.big, *shown.said))


# --- plans --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", plan_names())
def test_our_plans_are_read_and_can_be_held_to_their_end(name: str) -> None:
    plan = load_plan(name)
    assert plan.model is not None
    room = Room(replace(teaching(*plan.steps, name=plan.model), plan=plan))
    for number in range(len(plan.steps)):
        assert room.lesson.at == number
        room.until(room.lesson.ends_s + 1)
        room.press()
    assert room.at(LessonPhase.OVER)
    assert any(isinstance(effect, Over) for effect in room.effects)


# --- leading ------------------------------------------------------------------------------------

TWO = (PlanStep(show=Show.MODEL, say="look"), PlanStep(show=Show.SECOND_LINK))


def test_the_first_step_sounds_by_itself_and_stands_until_the_teacher_goes_on() -> None:
    room = Room(teaching(*TWO))
    assert room.sounds()[0].start_s < 1
    room.shown()
    room.until(room.now_s + 1000)
    assert room.lesson.at == 0
    assert "look" in room.said()
    room.press()
    assert room.lesson.at == 1


def test_a_step_is_shown_again_and_the_lesson_goes_back() -> None:
    room = Room(teaching(*TWO))
    room.press()
    count = len(room.sounds())
    room.give(Typed(at_s=room.now_s, sign="a"))
    assert room.lesson.at == 1
    assert len(room.sounds()) == count + 2
    room.give(Typed(at_s=room.now_s, sign="b"))
    assert room.lesson.at == 0
    room.give(Typed(at_s=room.now_s, sign="b"))
    assert room.lesson.at == 0


def test_pause_and_go_on() -> None:
    room = Room(teaching(*TWO))
    room.give(Typed(at_s=1.0, sign="p"))
    assert room.at(LessonPhase.PAUSED)
    room.press()
    assert room.at(LessonPhase.SOUNDING)
    assert room.lesson.at == 0
    room.give(Lost(at_s=room.now_s + 1))
    assert room.at(LessonPhase.PAUSED)


def test_the_sustaining_pedal_is_left_to_whoever_plays() -> None:
    room = Room(teaching(PlanStep(show=Show.ANSWER), *TWO))
    room.until(room.lesson.ends_s + 0.1)
    room.press(64)
    assert room.lesson.at == 0
    assert room.at(LessonPhase.ANSWERING)
    room.press()
    assert room.lesson.at == 1


def test_what_the_teacher_plays_in_between_disturbs_nothing() -> None:
    room = Room(teaching(*TWO))
    before = len(room.effects)
    room.strike(60, 0.5)
    assert len(room.effects) == before
    assert room.at(LessonPhase.SOUNDING)


# --- one hand -----------------------------------------------------------------------------------


@pytest.mark.parametrize("hand", Hand)
@pytest.mark.parametrize("name", model_names())
def test_both_parts_together_are_the_links(hand: Hand, name: str) -> None:
    pattern = model(name).pattern
    links = links_of(Chain(pattern=pattern, compass=MODERN), 3)
    ours, his = parts(pattern, links, hand)
    assert his.notes
    assert sorted(n.pitch for n in (*ours.notes, *his.notes)) == sorted(
        n.pitch for link in links for n in link.notes
    )
    if ours.notes:
        mean_ours = sum(n.pitch for n in ours.notes) / len(ours.notes)
        mean_his = sum(n.pitch for n in his.notes) / len(his.notes)
        assert (mean_ours < mean_his) == (hand is Hand.LEFT)


@settings(max_examples=30)
@given(st.sampled_from(model_names()), st.sampled_from(list(Hand)), st.integers(0, 10**6))
def test_whoever_plays_what_is_due_gets_to_the_end_and_hears_all_of_the_rest(
    name: str, hand: Hand, seed: int
) -> None:
    dice = random.Random(seed)
    pattern = model(name).pattern
    links = links_of(Chain(pattern=pattern, compass=MODERN), 2)
    ours, his = parts(pattern, links, hand)
    state, sounds = begin_hand(together(ours, his))
    heard = [note for _, notes in sounds for note in notes]
    while not state.over:
        pitch = dice.choice([one.midi for one in state.due])
        state, sounds = strike(state, pitch)
        heard += [note for _, notes in sounds for note in notes]
    assert state.wrong == 0
    assert sorted(n.pitch for n in heard) == sorted(n.pitch for n in ours.notes)


def test_livecont_waits_for_the_student_and_counts_what_was_wrong() -> None:
    room = Room(teaching(PlanStep(show=Show.ONE_HAND, hand=Hand.LEFT, links=1)))
    room.until(room.lesson.ends_s + 0.1)
    assert room.at(LessonPhase.HAND)
    begun = len(room.sounds())
    room.until(room.now_s + 500)
    assert len(room.sounds()) == begun
    room.strike(20)
    while not room.at(LessonPhase.SHOWN):
        assert room.lesson.together is not None
        room.strike(room.lesson.together.due[0].midi)
    assert len(room.sounds()) > begun
    assert room.said() == "not yet / 1 wrong note on the way"


def test_livecont_keeps_time_and_the_hand_is_judged() -> None:
    one = PlanStep(show=Show.ONE_HAND, hand=Hand.LEFT, links=2, waits=False)
    room = Room(teaching(one))
    due = room.lesson.due
    assert due is not None
    assert len(room.sounds()) == 2  # the first link, then livecont's hand
    begun_s = room.lesson.ends_s
    events = [
        event
        for note in due.notes
        for event in (
            KeyDown(at_s=begun_s + note.offset_s, pitch=note.pitch, velocity=70),
            KeyUp(at_s=begun_s + note.offset_s + note.duration_s, pitch=note.pitch),
        )
    ]
    for event in sorted(events, key=lambda one: one.at_s):
        room.give(event)
    room.until(room.now_s + 5)
    assert room.said().startswith("right / every note right")
    room = Room(teaching(one))
    room.until(room.lesson.ends_s + due.unit_s + 5)
    assert "nothing was played" in room.said()


# --- answers ------------------------------------------------------------------------------------


@pytest.mark.parametrize("up", [0, 1])
def test_an_answer_is_judged_and_kept(up: int) -> None:
    room = Room(teaching(PlanStep(show=Show.ANSWER)))
    room.until(room.lesson.ends_s + 0.1)
    assert room.at(LessonPhase.ANSWERING)
    due = room.lesson.due
    assert due is not None
    begun_s = room.now_s
    for note in sorted(due.notes, key=lambda one: one.offset_s):
        room.give(KeyDown(at_s=begun_s + note.offset_s, pitch=note.pitch + up, velocity=70))
    room.until(room.now_s + 5)
    (kept,) = [effect.answered for effect in room.effects if isinstance(effect, Keep)]
    assert kept.right == (not up)
    assert kept.again
    assert kept.item.name == "falling-fifths"
    assert room.said().startswith("not yet" if up else "right")


# --- what is just played ------------------------------------------------------------------------


def test_a_lesson_can_be_about_what_is_played_first() -> None:
    room = Room(teaching(*TWO, name=None))
    assert room.at(LessonPhase.LISTENING)
    room.press()
    assert room.at(LessonPhase.LISTENING)
    piece = load_piece("rising-gigue")
    for event in perform(piece, 1.0):
        room.give(event)
    room.until(room.now_s + 3)
    assert room.at(LessonPhase.SOUNDING)
    matter = room.lesson.matter
    assert matter is not None
    assert matter.pattern.step_degrees == piece.step_degrees
    assert matter.pattern.key.fifths == piece.key.fifths


def test_what_is_no_sequence_is_told() -> None:
    room = Room(teaching(*TWO, name=None))
    for pitch in (60, 67, 61, 70, 64):
        room.strike(pitch)
    room.until(room.now_s + 3)
    assert room.at(LessonPhase.LISTENING)
    assert view(room.lesson, room.now_s).message == "no sequence yet: play two links of one"
