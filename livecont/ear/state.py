"""What a game of the ear holds at one moment.

Conventions: seconds on the session's clock. Values only; `ear.game` makes one of another.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from livecont.ear.asked import Answered
from livecont.ear.planning import Choices, Planned
from livecont.ear.questions import Library
from livecont.ear.setup import Setup
from livecont.ear.sounds import Playing, SessionEffect
from livecont.ear.verdicts import Verdict


class Phase(StrEnum):
    """Where a game is."""

    CALL = "call"
    ANSWERING = "answering"
    TOLD = "told"
    PAUSED = "paused"
    OVER = "over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """What a game is played with: players in turn, what is practised, how."""

    players: tuple[str, ...]
    choices: Choices
    setup: Setup
    library: Library
    seed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Game:
    """A game's state.

    `answers` are all that is known of the players in this exercise, oldest first; `count` how many
    were given in this round. `start_s` is when the question began to sound, `until_s` when
    something is to happen by itself. `asked_again`: it sounded a second time.
    """

    session: Session
    answers: tuple[Answered, ...]
    now_s: float
    phase: Phase = Phase.PAUSED
    count: int = 0
    planned: Planned | None = None
    start_s: float = 0.0
    until_s: float | None = None
    playing: Playing = field(default_factory=Playing)
    typed: str = ""
    asked_again: bool = False
    verdict: Verdict | None = None
    down: frozenset[int] = frozenset()  # pedals that are down
    notice: str | None = None

    @property
    def player(self) -> str:
        """Whose turn it is."""
        players = self.session.players
        return players[self.count % len(players)]

    @property
    def ends_s(self) -> float:
        """When the question has sounded."""
        return self.start_s + (self.planned.question.ends_s if self.planned is not None else 0.0)


Outcome = tuple[Game, tuple[SessionEffect, ...]]
