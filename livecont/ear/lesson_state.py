"""What a lesson holds at one moment.

Conventions: seconds on the session's clock. Values, but for the listener that the state owns while
it waits for an example to be played; `ear.lesson` makes one of another.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from livecont.ear.hand import Together
from livecont.ear.matter import Matter
from livecont.ear.plan import Plan, PlanStep, Show
from livecont.ear.scenes import Scene
from livecont.ear.setup import Setup
from livecont.ear.sounds import Playing, SessionEffect
from livecont.ear.verdicts import Verdict
from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.sequence.listener import Listener, Prospect
from livecont.sequence.pattern import Link


class LessonPhase(StrEnum):
    """Where a lesson is."""

    LISTENING = "listening"  # for what it is to be about
    SOUNDING = "sounding"
    HAND = "hand"  # the student plays one hand, livecont waits for him
    ANSWERING = "answering"
    SHOWN = "shown"  # until the teacher goes on
    PAUSED = "paused"
    OVER = "over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Teaching:
    """What a lesson is held with.

    `matter` None: it is about what is played first, in `key` or in the one that is heard. `source`
    names the matter; `of_a_model`: it is one of ours, so that answers can be asked again.
    """

    plan: Plan
    matter: Matter | None
    source: str
    of_a_model: bool
    player: str
    setup: Setup
    compass: Compass
    key: Key | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """A lesson's state.

    `at` is the step's index, `start_s` when it began to sound, `until_s` when something is to
    happen by itself. `due` is what the student is to play in time, `together` what both play where
    livecont waits.
    """

    teaching: Teaching
    now_s: float
    matter: Matter | None
    at: int = 0
    phase: LessonPhase = LessonPhase.SHOWN
    scene: Scene | None = None
    start_s: float = 0.0
    until_s: float | None = None
    together: Together | None = None
    due: Link | None = None
    playing: Playing = field(default_factory=Playing)
    verdict: Verdict | None = None
    down: frozenset[int] = frozenset()
    notice: str | None = None
    listener: Listener | None = None
    prospect: Prospect | None = None

    @property
    def step_now(self) -> PlanStep:
        """The step that is shown."""
        return self.teaching.plan.steps[self.at]

    @property
    def ends_s(self) -> float:
        """When the scene has sounded."""
        return self.start_s + (self.scene.ends_s if self.scene is not None else 0.0)

    @property
    def keeps_time(self) -> bool:
        """Whether the student plays along in time."""
        return self.step_now.show is Show.ONE_HAND and not self.step_now.waits

    @property
    def due_pitches(self) -> frozenset[int]:
        """The keys that are notes of the student's, even where they are controls."""
        if self.together is not None and self.phase is LessonPhase.HAND:
            return frozenset(spelling.midi for spelling in self.together.due)
        if self.due is not None and self.phase is LessonPhase.ANSWERING:
            return frozenset(note.pitch for note in self.due.notes)
        return frozenset()


LessonOutcome = tuple[Lesson, tuple[SessionEffect, ...]]
