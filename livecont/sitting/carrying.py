"""Carrying the chain on: the links to come, drawn up and handed over one by one. Pure.

Conventions: as in `sitting.machine`, which calls these and owns every change of phase.
"""

from __future__ import annotations

import random  # noqa: TID251  seeded by the settings
from collections.abc import Iterator
from dataclasses import replace

from livecont.sequence.chain import Chain
from livecont.sequence.endings import Limit
from livecont.sequence.pattern import Link, Pattern, Role
from livecont.sitting.events import Effect, Ended, Settings, Sound
from livecont.sitting.state import Sounding, State

LINKS_SHOWN = 64

Outcome = tuple[State, tuple[Effect, ...]]


def chain_of(settings: Settings, pattern: Pattern) -> Chain:
    """Return the chain that a sitting with these settings sounds after a pattern."""
    return Chain(
        pattern=pattern,
        compass=settings.compass,
        most_links=settings.most_links,
        limit=settings.limit,
        ending=settings.ending,
        spectrum=settings.spectrum,
        surprise=settings.surprise,
        # one sequence breaks in one way however often it is drawn up, the next in another
        dice=random.Random(f"{settings.seed} {pattern.starts_s[0]:.3f}"),  # noqa: S311
    )


def sound_on(state: State, sounding: Sounding) -> Outcome:
    """Send the next link when the last one sent has begun; tell when the last has ended."""
    if state.now_s < sounding.starts_s[-1]:
        return state, ()
    sent = len(sounding.starts_s)
    if sent == len(sounding.links) and state.rest is not None:
        state = _draw_one(state, state.rest)
        sounding = state.sounding or sounding
    next_start_s = sounding.starts_s[-1] + sounding.links[sent - 1].unit_s
    if sent < len(sounding.links):
        sounding = replace(sounding, starts_s=(*sounding.starts_s, next_start_s))
        link = sounding.links[sent]
        return replace(state, sounding=sounding), (Sound(start_s=next_start_s, link=link),)
    if state.rest is None and state.now_s >= next_start_s:
        return state, (Ended(at_s=state.now_s, reason=_why_ended(state.settings, sounding)),)
    return state, ()


def _why_ended(settings: Settings, sounding: Sounding) -> str:
    if sounding.links[-1].role is Role.CADENCE:
        return "cadence"
    if settings.most_links is not None and len(sounding.starts_s) >= settings.most_links:
        return "limit"
    return "compass" if settings.limit is Limit.COMPASS else "clear"


def draw_ahead(state: State) -> State:
    """Draw up one more link of the chain: a little at a time, so that hearing never waits."""
    if state.rest is None or not draws(state):
        return state
    return _draw_one(state, state.rest)


def draws(state: State) -> bool:
    """Whether another coming link is to be drawn up to be shown; some chains have no end."""
    if state.rest is None or not state.settings.draws_ahead:
        return False
    sounding = state.sounding
    ahead = len(state.coming) if sounding is None else len(sounding.links) - len(sounding.starts_s)
    return ahead < LINKS_SHOWN


def _draw_one(state: State, rest: Iterator[Link]) -> State:
    link = next(rest, None)
    if link is None:
        return replace(state, rest=None)
    if state.sounding is not None:
        sounding = replace(state.sounding, links=(*state.sounding.links, link))
        return replace(state, sounding=sounding)
    return replace(state, coming=(*state.coming, link))
