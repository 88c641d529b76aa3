"""What a running sitting is joined of, as protocols, and how it is doing.

Conventions: seconds on the live clock; the protocols say no more than `live.runner` and
`live.performer` need.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

from livecont.live.messages import TimedMessage
from livecont.live.report import SentMessage, SounderReport
from livecont.sequence.pattern import Pattern
from livecont.sitting.events import Analysed, Effect, Settings, SittingEvent
from livecont.sitting.snapshot import Snapshot

State = TypeVar("State")


class Machine(Protocol[State]):
    """The sitting: `livecont.sitting.machine`, or a small one in tests."""

    def begin(self, settings: Settings) -> State:
        """Return the state in which a sitting begins."""
        ...

    def step(self, state: State, event: SittingEvent) -> tuple[State, tuple[Effect, ...]]:
        """Return the next state and what to do."""
        ...

    def snapshot(self, state: State, at_s: float) -> Snapshot:
        """Return what can be seen."""
        ...


class Explainer(Protocol):
    """Who works out what patterns are: `livecont.live.analysis.Analyst`, or one in tests."""

    def start(self, answer: Callable[[Analysed], object]) -> None:
        """Begin; answers go there, from any thread."""
        ...

    def ask(self, pattern: Pattern, home: int = 1) -> None:
        """Have a pattern worked out, link `home` of which is in its key; never waits."""
        ...

    def close(self) -> None:
        """End."""
        ...


class Voice(Protocol):
    """The sounding process: `livecont.live.sounder.Sounder`, or one in memory in tests."""

    def play(self, messages: Sequence[TimedMessage]) -> None:
        """Plan messages."""
        ...

    def thru(self, data: bytes) -> None:
        """Pass one message on at once."""
        ...

    def hush(self, *, everything: bool = False) -> None:
        """Forget what is planned, release what is ours or everything."""
        ...

    def sent(self) -> tuple[SentMessage, ...]:
        """Return what went out since the last call."""
        ...

    def sounding(self) -> frozenset[tuple[int, int]]:
        """Return what sounds, as (channel, pitch)."""
        ...

    def report(self) -> SounderReport:
        """Return how things are."""
        ...

    def revive(self) -> None:
        """Start it anew after it died."""
        ...

    def close(self) -> None:
        """Release everything and end."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """How a sitting is doing, beside the music; for the screen and for `check`.

    `overruns` are arrivals for which there was no room. `echoing` are inputs at which our own
    output comes back. `typed` is a line being typed at the computer, `complaint` what was wrong
    with it. `notices` are the latest lines told. `keeps` counts how often the last sequence was to
    be kept.
    """

    inputs: tuple[str, ...]
    overruns: int
    echoing: tuple[str, ...]
    sounder: SounderReport
    take: Path | None
    typed: str | None
    complaint: str | None
    notices: tuple[str, ...]
    keeps: int = 0
