"""A desk to sit at: the machine driven by hand in virtual time, everything it does kept.

Conventions: as in life, a tick comes when the machine asked for it and not otherwise; `effects` are
without the `Wake`s and the `Analyse`s, each with the moment of the step that gave it; `asked` keeps
the latter, which nobody answers unless a test does.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

from livecont.sequence.events import KeyDown
from livecont.sequence.pattern import Link
from livecont.sitting.events import Analyse, Effect, Hush, Settings, SittingEvent, Sound, Tick, Wake
from livecont.sitting.machine import begin, snapshot, step
from livecont.sitting.snapshot import Snapshot

MOST_TICKS = 500  # at one moment: more, and the machine never sleeps again
T = TypeVar("T", bound=Effect)


class Desk:
    """A sitting in which time goes on only as far as it is told to."""

    def __init__(self, settings: Settings) -> None:
        self.state = begin(settings)
        self.now_s = 0.0
        self.effects: list[tuple[float, Effect]] = []
        self.asked: list[Analyse] = []
        self._wake_s: float | None = None
        self._ticks = 0

    def give(self, *events: SittingEvent) -> tuple[Effect, ...]:
        """Give events, each at its time; return what the last of them brought about at once."""
        effects: tuple[Effect, ...] = ()
        for event in events:
            self._pass(event.at_s)
            effects = self._step(event)
        return effects

    def until(self, at_s: float) -> Snapshot:
        """Let time pass, ticks at that very moment included; return what is seen then."""
        self._pass(at_s)
        while self._wake_s is not None and self._wake_s <= at_s:
            self._tick(self._wake_s)
        return snapshot(self.state, at_s)

    def seen(self) -> Snapshot:
        """Return what is seen now."""
        return snapshot(self.state, self.now_s)

    def all(self, kind: type[T]) -> list[T]:
        """Return the effects of a kind so far."""
        return [effect for _, effect in self.effects if isinstance(effect, kind)]

    def pending(self) -> list[Sound]:
        """Return the links that were handed over since the last silence."""
        pending: list[Sound] = []
        for _, effect in self.effects:
            if isinstance(effect, Sound):
                pending.append(effect)
            elif isinstance(effect, Hush):
                pending.clear()
        return pending

    def _pass(self, at_s: float) -> None:
        while self._wake_s is not None and self._wake_s < at_s:
            self._tick(self._wake_s)
        self.now_s = max(self.now_s, at_s)

    def _tick(self, at_s: float) -> None:
        self._ticks = self._ticks + 1 if at_s <= self.state.now_s else 0
        assert self._ticks < MOST_TICKS, f"woken for ever at {at_s}"
        self._step(Tick(at_s=at_s))

    def _step(self, event: SittingEvent) -> tuple[Effect, ...]:
        assert event.at_s >= self.state.now_s, "time runs on"
        self.now_s = max(self.now_s, event.at_s)
        self.state, effects = step(self.state, event)
        wakes = [effect.at_s for effect in effects if isinstance(effect, Wake)]
        self._wake_s = wakes[-1] if wakes else None
        self.asked += [effect for effect in effects if isinstance(effect, Analyse)]
        kept = tuple(effect for effect in effects if not isinstance(effect, Wake | Analyse))
        self.effects += [(event.at_s, effect) for effect in kept]
        return kept


def names(link: Link) -> str:
    """Return a link's notes by name, by onset, then pitch."""
    return " ".join(note.spelling.name for note in link.notes)


def key_down(at_s: float, pitch: int = 60) -> KeyDown:
    """Return a key going down."""
    return KeyDown(at_s=at_s, pitch=pitch, velocity=70)


def without_releases(events: Iterable[SittingEvent]) -> list[SittingEvent]:
    """Return the events with every key held."""
    return [event for event in events if isinstance(event, KeyDown)]
