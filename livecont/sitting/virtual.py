"""A sitting in virtual time: events with their times in, effects out, as fast as it goes.

The very same machine as in life; only the clock is data. After the last event time runs on as long
as the sitting asks to be woken, within a bound. Pure, so the same events give the same effects.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from livecont.errors import TransitionError
from livecont.sequence.analysis import analysed
from livecont.sequence.endings import Ending, Limit
from livecont.sitting.events import (
    Analyse,
    Analysed,
    Effect,
    Fullness,
    Quit,
    Settings,
    SittingEvent,
    Tick,
    TookOver,
    Wake,
)
from livecont.sitting.explanation import explain
from livecont.sitting.machine import State, begin, step
from livecont.sitting.main_notes import MainNotes

# after the last event, so much time at most
AFTERMATH_S = 60.0
# a sitting draws up some links ahead without time moving on; so many ticks, and it goes in circles
MOST_TICKS = 10_000
STANDSTILL_S = 0.001


def run(
    settings: Settings, events: Iterable[SittingEvent], aftermath_s: float = AFTERMATH_S
) -> Iterator[Effect]:
    """Yield the effects of a whole sitting, in order; it ends with a `Quit`.

    `events` in time order. Ticks are given exactly when asked for.

    Raises:
        TransitionError: the sitting asks for tick after tick, and time does not move on.
    """
    state = begin(_unseen(settings))
    ticks = _Ticks()
    wake_s: float | None = None
    last_s = 0.0
    for event in events:
        last_s = event.at_s
        while wake_s is not None and wake_s < event.at_s:
            state, wake_s, effects = _give(_told(state, wake_s), ticks.at(wake_s))
            yield from effects
        state, wake_s, effects = _give(state, event)
        yield from effects
    end_s = last_s + aftermath_s
    while wake_s is not None and wake_s <= end_s:
        state, wake_s, effects = _give(_told(state, wake_s), ticks.at(wake_s))
        yield from effects
    state, wake_s, effects = _give(state, Quit(at_s=max(state.now_s, last_s)))
    yield from effects


def _unseen(settings: Settings) -> Settings:
    """The settings where nobody looks on: nothing is worked out only to be shown."""
    settings = replace(settings, draws_ahead=False)
    if settings.limit is Limit.COMPASS and settings.ending is Ending.STOP:
        return replace(settings, spectrum=None)  # how clear a link is decides nothing
    return settings


class _Ticks:
    """The ticks of one sitting, bounded where time stands still."""

    def __init__(self) -> None:
        self._since_s, self._count = float("-inf"), 0

    def at(self, at_s: float) -> Tick:
        if at_s > self._since_s + STANDSTILL_S:
            self._since_s, self._count = at_s, 0
        self._count += 1
        if self._count > MOST_TICKS:
            raise TransitionError(f"the sitting asks for tick after tick at {at_s:.3f} s")
        return Tick(at_s=at_s)


def _told(state: State, at_s: float) -> State:
    """Tell the main notes of the link that is about to be decided on, where they are to sound.

    In life they are known by then, from the draft that was drawn up for those who look on.
    """
    plan = state.plan
    if plan is None or at_s < plan.decide_s or state.settings.fullness is Fullness.FULL:
        return state
    pattern = state.listener.pattern(plan.prospect, at_s)
    if pattern.confidence < state.settings.least_confidence:
        return state  # nothing will sound
    main_notes = MainNotes(analysed(pattern).reduction, pattern, state.settings.spectrum)
    return replace(state, asked=pattern, main_notes=main_notes)


def _give(state: State, event: SittingEvent) -> tuple[State, float | None, tuple[Effect, ...]]:
    """One step; the time to be woken at is kept apart from the other effects.

    What a chain that sounds is is told at once: here nobody is kept waiting. Before that nobody
    needs it, until `_told`.
    """
    state, effects = step(state, event)
    asks = [effect for effect in effects if isinstance(effect, Analyse)]
    for asked in asks if state.sounding is not None else ():
        told = Analysed(
            at_s=state.now_s, pattern=asked.pattern, explanation=explain(asked.pattern, asked.home)
        )
        state, more = step(state, told)
        effects = (*effects, *more)
    wakes = [effect.at_s for effect in effects if isinstance(effect, Wake)]
    kept = tuple(effect for effect in effects if not isinstance(effect, Wake | Analyse))
    return state, wakes[-1] if wakes else None, kept


def take_overs(effects: Iterable[Effect]) -> tuple[TookOver, ...]:
    """Return only the take-overs, in order."""
    return tuple(effect for effect in effects if isinstance(effect, TookOver))
