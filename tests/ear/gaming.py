"""A game in virtual time: events in, ticks when they are asked for, all effects kept."""

from __future__ import annotations

from dataclasses import replace

from livecont.config import load_preferences
from livecont.ear.asked import Answered, Exercise, Source
from livecont.ear.game import begin, step
from livecont.ear.planning import Choices
from livecont.ear.questions import Library, Question
from livecont.ear.setup import Setup, load_setup
from livecont.ear.sounds import Keep, Over, SessionEffect, SessionEvent, Typed
from livecont.ear.state import Game, Phase, Session
from livecont.sequence.events import KeyDown, KeyUp, PedalMove
from livecont.sequence.pattern import Link
from livecont.sitting.events import Hush, Sound, Tick, Wake

COMPASSES = load_preferences().compasses
MODERN = COMPASSES["modern"]


def setup(**pace: float) -> Setup:
    found = load_setup(MODERN)
    return replace(found, pace=replace(found.pace, **pace))  # type: ignore[arg-type]


def session(
    exercise: Exercise, *, players: tuple[str, ...] = ("one",), seed: int = 1, **pace: float
) -> Session:
    found = setup(**pace)
    return Session(
        players=players,
        choices=Choices(exercise=exercise, sources=(Source.MADE,)),
        setup=found,
        library=Library(levels=found.levels, compass=MODERN, small=COMPASSES["piano-ff-f3"]),
        seed=seed,
    )


class Table:
    """A game being played."""

    def __init__(self, played: Session, answers: tuple[Answered, ...] = ()) -> None:
        self.now_s = 0.0
        self.effects: list[tuple[float, SessionEffect]] = []
        self.wake_s: float | None = None
        self.game: Game
        self._take(*begin(played, answers, 0.0))

    def _take(self, game: Game, effects: tuple[SessionEffect, ...]) -> None:
        self.game = game
        for effect in effects:
            if isinstance(effect, Wake):
                self.wake_s = effect.at_s
            else:
                self.effects.append((self.now_s, effect))

    def give(self, event: SessionEvent) -> None:
        self.until(event.at_s)
        self._take(*step(self.game, event))

    def until(self, at_s: float) -> None:
        """Let time run on."""
        while self.wake_s is not None and self.wake_s <= at_s:
            self.now_s, self.wake_s = max(self.now_s, self.wake_s), None
            self._take(*step(self.game, Tick(at_s=self.now_s)))
        self.now_s = max(self.now_s, at_s)

    def play(self, link: Link, start_s: float, *, up: int = 0) -> None:
        """Play a link from a moment on, some semitones higher."""
        events: list[KeyDown | KeyUp] = []
        for note in link.notes:
            at_s, pitch = start_s + note.offset_s, note.pitch + up
            events.append(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
            events.append(KeyUp(at_s=at_s + 0.9 * note.duration_s, pitch=pitch))
        for event in sorted(events, key=lambda one: one.at_s):
            self.give(event)

    def strike(self, pitch: int, at_s: float) -> None:
        self.give(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
        self.give(KeyUp(at_s=at_s + 0.1, pitch=pitch))

    def press(self, at_s: float, controller: int = 67) -> None:
        self.give(PedalMove(at_s=at_s, controller=controller, value=127))
        self.give(PedalMove(at_s=at_s + 0.1, controller=controller, value=0))

    def type(self, sign: str, at_s: float | None = None) -> None:
        self.give(Typed(at_s=self.now_s if at_s is None else at_s, sign=sign))

    def at(self, phase: Phase) -> bool:
        return self.game.phase is phase

    @property
    def question(self) -> Question:
        assert self.game.planned is not None
        return self.game.planned.question

    @property
    def kept(self) -> list[Answered]:
        return [effect.answered for _, effect in self.effects if isinstance(effect, Keep)]

    @property
    def over(self) -> bool:
        return any(isinstance(effect, Over) for _, effect in self.effects)

    def sounds_from(self, at_s: float) -> list[Sound]:
        """What sounds from a moment on and was not hushed."""
        found: list[Sound] = []
        for _, effect in self.effects:
            if isinstance(effect, Sound):
                found.append(effect)
            elif isinstance(effect, Hush):
                found = [one for one in found if one.start_s < effect.at_s]
        return [one for one in found if one.start_s >= at_s - 1e-6]
