"""Asking what a pattern is, taking the answer, and sounding no more of a link than is wanted. Pure.

Conventions: as in `sitting.machine`, which calls these and owns every change of phase.
"""

from __future__ import annotations

from dataclasses import replace

from livecont.sequence.pattern import Link, Pattern
from livecont.sitting.events import Analyse, Analysed, Effect, Fullness
from livecont.sitting.main_notes import MainNotes
from livecont.sitting.state import SAME_UNIT, State


def ask(state: State) -> tuple[State, tuple[Effect, ...]]:
    """Ask what the pattern in force is, where somebody wants to know and it is not asked yet."""
    pattern, settings = state.pattern, state.settings
    wanted = settings.draws_ahead or settings.fullness is Fullness.REDUCTION
    if not wanted or pattern is None or _same_notes(state.asked, pattern):
        return state, ()
    home = pattern.links_heard if state.kind_changed else 1
    return replace(state, asked=pattern), (Analyse(at_s=state.now_s, pattern=pattern, home=home),)


def answered(state: State, event: Analysed) -> State:
    """Take the answer, unless the sitting has gone on to something else."""
    if state.pattern is None or not _alike(event.pattern, state.pattern):
        return state
    reduction = event.explanation.analysis.reduction
    return replace(
        state,
        explanation=event.explanation,
        main_notes=MainNotes(reduction, event.pattern, state.settings.spectrum),
    )


def change_fullness(state: State) -> State:
    """Have only main notes sounded, or all again, from the next link that is handed over."""
    whole = state.settings.fullness is Fullness.FULL
    fullness = Fullness.REDUCTION if whole else Fullness.FULL
    return replace(state, settings=replace(state.settings, fullness=fullness))


def as_wanted(state: State, link: Link) -> Link:
    """Return a link as it is to sound; whole, too, as long as its main notes are not known."""
    main_notes, pattern = state.main_notes, state.pattern
    if state.settings.fullness is Fullness.FULL or main_notes is None or pattern is None:
        return link
    return main_notes.of(link, pattern) if main_notes.suits(pattern) else link


def _alike(one: Pattern, other: Pattern) -> bool:
    return (
        one.step_degrees == other.step_degrees
        and one.kind is other.kind
        and one.key == other.key
        and abs(one.unit_s - other.unit_s) <= SAME_UNIT * other.unit_s
    )


def _same_notes(one: Pattern | None, other: Pattern) -> bool:
    return one is not None and (
        one is other
        or (
            _alike(one, other)
            and one.links_heard == other.links_heard
            and [position.heard for position in one.positions]
            == [position.heard for position in other.positions]
        )
    )
