"""Judging what a student plays in a lesson.

Conventions: seconds on the session's clock. Answers to a model of ours are kept, so that they show
in the curves; they leave the staircase where it is. Pure.
"""

from __future__ import annotations

from dataclasses import replace

from livecont.ear.asked import Answered, Exercise, Item, Source
from livecont.ear.judging import judge
from livecont.ear.lesson_state import Lesson, LessonOutcome, LessonPhase
from livecont.ear.questions import Question
from livecont.ear.sounds import Keep
from livecont.ear.telling import told
from livecont.ear.verdicts import Verdict, played_link
from livecont.sequence.pattern import Link


def question_of(lesson: Lesson, due: Link) -> Question:
    """Return the answer that is due as a question of the ear game.

    Raises:
        ValueError: no step sounds.
    """
    if lesson.matter is None or lesson.scene is None:
        raise ValueError("no step sounds")
    item = Item(
        exercise=Exercise.ANSWER,
        source=Source.MODEL,
        name=lesson.teaching.source,
        key=lesson.matter.pattern.key.name,
        level=1,
        seed=0,
    )
    return Question(
        item=item,
        matter=replace(lesson.matter, pattern=lesson.scene.pattern),
        links=lesson.scene.links,
        compass=lesson.teaching.compass,
        due=due,
    )


def judged(lesson: Lesson) -> LessonOutcome:
    """Return the lesson with the verdict on what was played."""
    if lesson.due is None:
        return lesson, ()
    question = question_of(lesson, lesson.due)
    if lesson.keeps_time:
        verdict = _in_time(lesson, lesson.due)
    else:
        setup = lesson.teaching.setup
        verdict = played_link(
            question,
            lesson.playing.notes,
            lesson.start_s,
            any_octave=setup.any_octave,
            tolerance=setup.tolerance,
        )
    shown = replace(lesson, phase=LessonPhase.SHOWN, until_s=None, verdict=verdict)
    if lesson.keeps_time or not lesson.teaching.of_a_model:
        return shown, ()
    kept = Answered(
        player=lesson.teaching.player,
        item=question.item,
        right=verdict.right,
        again=True,  # in a lesson nothing is measured: the staircase stays where it is
        step_degrees=question.matter.pattern.step_degrees,
        texture=question.matter.texture,
        detail={**verdict.detail, "lesson": lesson.teaching.plan.title},
    )
    return shown, (Keep(answered=kept),)


def _in_time(lesson: Lesson, due: Link) -> Verdict:
    """Judge one hand that was played along."""
    setup, notes = lesson.teaching.setup, lesson.playing.notes
    key = question_of(lesson, due).matter.pattern.key
    judgement = judge(
        due,
        notes,
        key,
        due_s=lesson.ends_s,
        any_octave=setup.any_octave,
        tolerance=setup.tolerance,
    )
    said = told(judgement) if notes else ("nothing was played",)
    return Verdict(right=judgement.right, said=said, judgement=judgement)


def judged_together(lesson: Lesson) -> Lesson:
    """Return the lesson with the verdict on a hand that livecont waited for."""
    wrong = lesson.together.wrong if lesson.together is not None else 0
    words = f"{wrong} wrong note{'' if wrong == 1 else 's'} on the way"
    verdict = Verdict(
        right=not wrong,
        said=("all of it right",) if not wrong else (words,),
        detail={"wrong": wrong},
    )
    return replace(lesson, phase=LessonPhase.SHOWN, verdict=verdict)
