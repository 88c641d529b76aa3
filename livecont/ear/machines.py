"""The game and the lesson as `ear.running` runs them."""

from __future__ import annotations

from dataclasses import dataclass

from livecont.ear import game, lesson, lesson_view, viewing
from livecont.ear.asked import Answered
from livecont.ear.lesson_state import Lesson, LessonOutcome, Teaching
from livecont.ear.sounds import SessionEvent
from livecont.ear.state import Game, Outcome, Session
from livecont.screen.ear_view import EarView


@dataclass(frozen=True, slots=True, kw_only=True)
class GameMachine:
    """A round of one exercise, after the answers that are kept."""

    session: Session
    answers: tuple[Answered, ...]

    def begin(self, at_s: float) -> Outcome:
        """Ask the first question."""
        return game.begin(self.session, self.answers, at_s)

    def step(self, state: Game, event: SessionEvent) -> Outcome:
        """Take one event."""
        return game.step(state, event)

    def view(self, state: Game, at_s: float) -> EarView:
        """Return what is shown."""
        return viewing.view(state, at_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonMachine:
    """A lesson."""

    teaching: Teaching

    def begin(self, at_s: float) -> LessonOutcome:
        """Show the first step."""
        return lesson.begin(self.teaching, at_s)

    def step(self, state: Lesson, event: SessionEvent) -> LessonOutcome:
        """Take one event."""
        return lesson.step(state, event)

    def view(self, state: Lesson, at_s: float) -> EarView:
        """Return what is shown."""
        return lesson_view.view(state, at_s)
