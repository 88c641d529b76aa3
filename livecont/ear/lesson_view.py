"""What is shown of a lesson: one view of its state.

Conventions: as in `screen.ear_view`. Pure.
"""

from __future__ import annotations

from livecont.ear.lesson_state import Lesson, LessonPhase
from livecont.ear.plan import Show
from livecont.ear.telling import note_name
from livecont.ear.viewing import beside
from livecont.screen.ear_view import Beside, EarView, Turn
from livecont.screen.wording import key_words, letter_name

HINTS = (
    ("space, pedal", "go on"),
    ("a", "again"),
    ("b", "back"),
    ("p", "pause"),
    ("q", "quit"),
)
TURNS = {
    LessonPhase.LISTENING: Turn.YOURS,
    LessonPhase.SOUNDING: Turn.OURS,
    LessonPhase.HAND: Turn.YOURS,
    LessonPhase.ANSWERING: Turn.YOURS,
    LessonPhase.SHOWN: Turn.SHOWN,
    LessonPhase.PAUSED: Turn.WAITING,
    LessonPhase.OVER: Turn.OVER,
}


def view(lesson: Lesson, at_s: float) -> EarView:
    """Return what is shown of a lesson at a moment."""
    plan = lesson.teaching.plan
    big, said, rows = _caption(lesson, at_s)
    where = key_words(lesson.matter.pattern.key) if lesson.matter is not None else ""
    return EarView(
        title=plan.title,
        who=where,
        turn=Turn.TOLD if lesson.verdict is not None else TURNS[lesson.phase],
        big=big,
        said=said,
        beside=_beside(lesson),
        rows=rows,
        hints=HINTS,
        bar=_bar(lesson, at_s),
        number=lesson.at + 1,
        of=len(plan.steps),
        message=lesson.notice,
    )


def _caption(
    lesson: Lesson, at_s: float
) -> tuple[str, tuple[str, ...], tuple[tuple[str, str], ...]]:
    if lesson.phase is LessonPhase.OVER:
        return "the end", (), ()
    if lesson.phase is LessonPhase.PAUSED:
        return "pause", (), ()
    if lesson.phase is LessonPhase.LISTENING or lesson.scene is None:
        return "play", ("two links of a sequence: the lesson will be about them",), ()
    if lesson.verdict is not None:
        return ("right" if lesson.verdict.right else "not yet"), lesson.verdict.said, ()
    step = lesson.step_now
    if lesson.phase is LessonPhase.HAND and lesson.together is not None:
        due = lesson.together.due
        said = (step.say, f"play {' and '.join(note_name(one) for one in due)}")
        return " ".join(letter_name(one) for one in due), tuple(s for s in said if s), ()
    if lesson.phase is LessonPhase.ANSWERING:
        said = (step.say, "play the third link" if step.show is Show.ANSWER else "play your hand")
        return "play", tuple(s for s in said if s), ()
    caption = lesson.scene.caption(at_s - lesson.start_s)
    return caption.big, caption.said, caption.rows


def _beside(lesson: Lesson) -> tuple[Beside, ...]:
    judgement = lesson.verdict.judgement if lesson.verdict is not None else None
    return beside(judgement) if judgement is not None else ()


def _bar(lesson: Lesson, at_s: float) -> float | None:
    if lesson.phase is LessonPhase.SOUNDING and lesson.scene is not None:
        return (at_s - lesson.start_s) / max(lesson.scene.ends_s, 0.1)
    if lesson.phase is LessonPhase.HAND and lesson.together is not None:
        return lesson.together.at / max(1, len(lesson.together.chords))
    return None
