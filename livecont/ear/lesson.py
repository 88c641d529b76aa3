"""A lesson: the teacher goes on with a pedal or a key, livecont shows step after step. Pure.

Every transition lives here, as in `ear.game`. A step sounds (SOUNDING) and then stands (SHOWN)
until the teacher goes on; in a step for one hand or with an answer the student plays (HAND,
ANSWERING). Where the lesson is about what is played now, it begins by listening (LISTENING).

Conventions: seconds on the session's clock. The state owns its listener, whose buffers move on with
it: an old state is not to be stepped again.
"""

from __future__ import annotations

from dataclasses import replace

from livecont.ear.completing import early_s, patience_s
from livecont.ear.hand import Sounding, parts, strike, together
from livecont.ear.hand import begin as begin_together
from livecont.ear.lesson_answers import judged, judged_together, question_of
from livecont.ear.lesson_state import Lesson, LessonOutcome, LessonPhase, Teaching
from livecont.ear.matter import Matter, as_two_links, texture_of
from livecont.ear.plan import Show
from livecont.ear.questions import HEARD, links_of
from livecont.ear.scenes import Scene, scene
from livecont.ear.setup import Control
from livecont.ear.sounds import (
    Hush,
    KeyDown,
    KeyUp,
    Lost,
    Over,
    PedalMove,
    Playing,
    Quit,
    SessionEffect,
    SessionEvent,
    Sound,
    Tick,
    Typed,
    Wake,
    sounding,
)
from livecont.sequence.chain import Chain
from livecont.sequence.events import SUSTAIN
from livecont.sequence.listener import Listener
from livecont.sequence.pattern import Link

PEDAL_DOWN = 64  # MIDI 1.0
QUIET_S = 1.2  # the hands rest so long after two links: they were the example
LEAST_CONFIDENCE = 0.75
AFTER_S = 1.0  # silence after the last due note, where livecont keeps time


def begin(teaching: Teaching, at_s: float) -> LessonOutcome:
    """Return a lesson with its first step sounding, or listening for what it is to be about."""
    lesson = Lesson(teaching=teaching, now_s=at_s, matter=teaching.matter)
    if lesson.matter is None:
        listening = replace(lesson, phase=LessonPhase.LISTENING, listener=Listener(teaching.key))
        return _with_wake(listening, ())
    return _with_wake(*_show(lesson))


def step(lesson: Lesson, event: SessionEvent) -> LessonOutcome:
    """Take one event; return the next state and what is to be done, in order."""
    if lesson.phase is LessonPhase.OVER:
        return lesson, ()
    lesson = replace(lesson, now_s=max(lesson.now_s, event.at_s))
    match event:
        case KeyDown() | KeyUp():
            return _with_wake(*_key(lesson, event))
        case PedalMove():
            return _with_wake(*_pedal(lesson, event))
        case Typed():
            return _with_wake(*_type(lesson, event.sign.lower()))
        case Tick():
            return _with_wake(*_in_time(lesson))
        case Lost():
            return _with_wake(*_pause(lesson, "the keyboard is gone: waiting for it"))
        case Quit():
            return replace(lesson, phase=LessonPhase.OVER), (Hush(at_s=event.at_s),)


def _with_wake(lesson: Lesson, effects: tuple[SessionEffect, ...]) -> LessonOutcome:
    if lesson.until_s is None or lesson.phase is LessonPhase.OVER:
        return lesson, effects
    return lesson, (*effects, Wake(at_s=max(lesson.until_s, lesson.now_s)))


# --- steps --------------------------------------------------------------------------------------


def _show(lesson: Lesson) -> LessonOutcome:
    """Sound the present step from its beginning."""
    if lesson.matter is None:
        return lesson, ()
    plan, teaching = lesson.teaching.plan, lesson.teaching
    step_now = plan.steps[lesson.at]
    shown = scene(step_now, lesson.matter, plan.tempo, teaching.compass)
    start_s = lesson.now_s + teaching.setup.pace.lead_s
    lesson = replace(
        lesson,
        phase=LessonPhase.SOUNDING,
        scene=shown,
        start_s=start_s,
        until_s=start_s + shown.ends_s,
        together=None,
        due=None,
        playing=Playing(),
        verdict=None,
        notice=None,
    )
    links: tuple[Link, ...] = shown.links
    if step_now.show is Show.ONE_HAND:
        lesson, more = _one_hand(lesson, shown)
        links = (*links, *more)
    elif step_now.show is Show.ANSWER:
        chain = Chain(pattern=shown.pattern, compass=teaching.compass)
        after = links_of(chain, HEARD + 1)[HEARD:]
        lesson = replace(lesson, due=after[0] if after else None)
    return lesson, (Hush(at_s=lesson.now_s), *sounding(links, start_s))


def _one_hand(lesson: Lesson, shown: Scene) -> tuple[Lesson, tuple[Link, ...]]:
    """Share the links after the first one out; return what livecont plays of them in time."""
    step_now = lesson.step_now
    chain = Chain(pattern=shown.pattern, compass=lesson.teaching.compass)
    links = links_of(chain, step_now.links + 1)[1:]
    ours, his = parts(shown.pattern, links, step_now.hand)
    if step_now.waits:
        return replace(lesson, together=together(ours, his)), ()
    return replace(lesson, due=his), ((ours,) if ours.notes else ())


def _in_time(lesson: Lesson) -> LessonOutcome:
    if lesson.until_s is None or lesson.now_s < lesson.until_s:
        return lesson, ()
    lesson = replace(lesson, until_s=None)
    match lesson.phase:
        case LessonPhase.SOUNDING:
            if lesson.together is not None:
                state, sounds = begin_together(lesson.together)
                lesson = replace(lesson, phase=LessonPhase.HAND, together=state)
                return lesson, _sounds(lesson, sounds)
            if lesson.due is not None:
                return _hear_answer(lesson), ()
            return replace(lesson, phase=LessonPhase.SHOWN), ()
        case LessonPhase.ANSWERING:
            if lesson.playing.notes or lesson.keeps_time:
                return judged(lesson)
            return lesson, ()
        case LessonPhase.LISTENING:
            return _heard(lesson)
        case _:
            return lesson, ()


def _hear_answer(lesson: Lesson) -> Lesson:
    until_s = None
    if lesson.keeps_time and lesson.due is not None:
        until_s = lesson.ends_s + lesson.due.unit_s + AFTER_S
    return replace(lesson, phase=LessonPhase.ANSWERING, until_s=until_s)


def _sounds(lesson: Lesson, sounds: Sounding) -> tuple[Sound, ...]:
    return tuple(
        Sound(
            start_s=lesson.now_s + after_s,
            link=Link(
                number=0,
                unit_s=max(note.duration_s for note in notes),
                notes=tuple(replace(note, offset_s=0.0) for note in notes),
                pedals=(),
            ),
        )
        for after_s, notes in sounds
        if notes
    )


def _pause(lesson: Lesson, notice: str | None = None) -> LessonOutcome:
    if lesson.phase is LessonPhase.LISTENING:
        return replace(lesson, notice=notice), ()
    paused = replace(lesson, phase=LessonPhase.PAUSED, until_s=None, notice=notice)
    return paused, (Hush(at_s=lesson.now_s),)


def _go_on(lesson: Lesson, by: int = 1) -> LessonOutcome:
    """Go to the next step, or another; past the last one the lesson is over."""
    if lesson.matter is None:
        return lesson, ()
    at = lesson.at + by
    if at >= len(lesson.teaching.plan.steps):
        return _end(lesson)
    return _show(replace(lesson, at=max(0, at)))


def _end(lesson: Lesson) -> LessonOutcome:
    over = replace(lesson, phase=LessonPhase.OVER, until_s=None)
    return over, (Hush(at_s=lesson.now_s), Over(at_s=lesson.now_s))


# --- who plays ----------------------------------------------------------------------------------


def _key(lesson: Lesson, event: KeyDown | KeyUp) -> LessonOutcome:
    control = lesson.teaching.setup.keys.get(event.pitch)
    if control is not None and event.pitch not in lesson.due_pitches:
        return _control(lesson, control) if isinstance(event, KeyDown) else (lesson, ())
    if lesson.phase is LessonPhase.LISTENING:
        return _listen(lesson, event)
    if lesson.phase is LessonPhase.HAND and isinstance(event, KeyDown):
        return _with_him(lesson, event.pitch)
    if lesson.due is None or lesson.phase not in (LessonPhase.SOUNDING, LessonPhase.ANSWERING):
        return lesson, ()
    if lesson.now_s < lesson.ends_s - early_s(question_of(lesson, lesson.due)):
        return lesson, ()
    question = question_of(lesson, lesson.due)
    lesson = replace(lesson, playing=lesson.playing.after(event))
    if lesson.keeps_time or not lesson.playing.notes:
        return lesson, ()
    until_s = lesson.now_s + patience_s(question, lesson.playing)
    return replace(lesson, phase=LessonPhase.ANSWERING, until_s=until_s), ()


def _with_him(lesson: Lesson, pitch: int) -> LessonOutcome:
    if lesson.together is None:
        return lesson, ()
    state, sounds = strike(lesson.together, pitch)
    effects = _sounds(lesson, sounds)
    lesson = replace(lesson, together=state)
    if not state.over:
        return lesson, effects
    return judged_together(lesson), effects


def _pedal(lesson: Lesson, event: PedalMove) -> LessonOutcome:
    control = lesson.teaching.setup.pedals.get(event.controller)
    was_down = event.controller in lesson.down
    if event.value < PEDAL_DOWN:
        return replace(lesson, down=lesson.down - {event.controller}), ()
    lesson = replace(lesson, down=lesson.down | {event.controller})
    if control is None or was_down:
        return lesson, ()
    plays = lesson.phase in (LessonPhase.HAND, LessonPhase.ANSWERING)
    if plays and (event.controller == SUSTAIN or lesson.playing.notes):
        return lesson, ()  # the pedal is part of the playing
    return _control(lesson, control)


def _control(lesson: Lesson, control: Control) -> LessonOutcome:
    if lesson.phase is LessonPhase.LISTENING:
        return lesson, ()
    if control is Control.AGAIN or lesson.phase is LessonPhase.PAUSED:
        return _show(lesson)
    return _go_on(lesson)


def _type(lesson: Lesson, sign: str) -> LessonOutcome:
    if sign == "q":
        return _end(lesson)
    if lesson.phase is LessonPhase.LISTENING:
        return lesson, ()
    if sign == "p":
        return _show(lesson) if lesson.phase is LessonPhase.PAUSED else _pause(lesson)
    if sign in (" ", "\r", "\n"):
        return _control(lesson, Control.GO)
    if sign == "a":
        return _show(lesson)
    return _go_on(lesson, -1) if sign == "b" else (lesson, ())


# --- what is just played ------------------------------------------------------------------------


def _listen(lesson: Lesson, event: KeyDown | KeyUp) -> LessonOutcome:
    if lesson.listener is None:
        return lesson, ()
    prospect = lesson.listener.hear(event)
    if isinstance(event, KeyUp):
        return lesson, ()
    until_s = lesson.now_s + QUIET_S
    whole = prospect is not None and prospect.whole
    return replace(lesson, prospect=prospect if whole else None, until_s=until_s), ()


def _heard(lesson: Lesson) -> LessonOutcome:
    """The hands rest: what was played is what the lesson is about, if it is a sequence."""
    if lesson.listener is None:
        return lesson, ()
    if lesson.prospect is not None:
        pattern = lesson.listener.pattern(lesson.prospect, lesson.now_s)
        if pattern.confidence >= LEAST_CONFIDENCE:
            pattern = as_two_links(pattern)
            matter = Matter(
                title="what you played", texture=texture_of(pattern), pattern=pattern, label=None
            )
            return _show(replace(lesson, matter=matter, prospect=None))
    lesson.listener.forget()
    notice = "no sequence yet: play two links of one"
    return replace(lesson, prospect=None, notice=notice), ()
