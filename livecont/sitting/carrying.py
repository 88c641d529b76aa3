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
from livecont.sitting.asking import as_wanted, ask
from livecont.sitting.counting import count_of, count_on
from livecont.sitting.events import Effect, Ended, Hush, Settings, Sound, Understood
from livecont.sitting.kinds import going_on, other_kind
from livecont.sitting.state import Sounding, State

LINKS_SHOWN = 64
# a link is handed over so long before it is due: longer than we ever stall, short enough that the
# player's wishes tell on the next link
AHEAD_S = 0.5

Outcome = tuple[State, tuple[Effect, ...]]


def chain_of(settings: Settings, pattern: Pattern, sent: int = 0) -> Chain:
    """Return the chain that a sitting with these settings sounds after a pattern.

    `sent` counts links that have been sounded of it already.
    """
    most = settings.most_links
    return Chain(
        pattern=pattern,
        compass=settings.compass,
        most_links=None if most is None else max(0, most - sent),
        limit=settings.limit,
        ending=settings.ending,
        spectrum=settings.spectrum,
        surprise=settings.surprise,
        # one sequence breaks in one way however often it is drawn up, the next in another
        dice=random.Random(f"{settings.seed} {pattern.starts_s[0]:.3f}"),  # noqa: S311
    )


def with_chain(state: State, pattern: Pattern, sent: int = 0) -> State:
    """Return the state with the chain of a pattern begun: none of its links drawn up yet."""
    chain = chain_of(state.settings, pattern, sent)
    count = count_of(chain) if state.settings.draws_ahead else None
    return replace(state, pattern=pattern, chain=chain, rest=chain.links(), count=count, coming=())


def look_again_s(sounding: Sounding) -> float:
    """Return when the next link is to be handed over, or the last one ends: `sound_on` then."""
    start_s, link = sounding.starts_s[-1], sounding.sent[-1]
    return max(start_s, start_s + link.unit_s - AHEAD_S)


def sound_on(state: State, sounding: Sounding) -> Outcome:
    """Send the next link shortly before it is due; tell when the last has ended."""
    if state.now_s < look_again_s(sounding):
        return state, ()
    sent = len(sounding.starts_s)
    if sent == len(sounding.links) and state.rest is not None:
        state = _draw_one(state, state.rest)
        sounding = state.sounding or sounding
    next_start_s = sounding.starts_s[-1] + sounding.links[sent - 1].unit_s
    if sent < len(sounding.links):
        link = as_wanted(state, sounding.links[sent])
        sounding = replace(
            sounding,
            handed=(*sounding.handed, link),
            starts_s=(*sounding.starts_s, next_start_s),
        )
        return replace(state, sounding=sounding), (Sound(start_s=next_start_s, link=link),)
    if state.rest is None and state.now_s >= next_start_s:
        return state, (Ended(at_s=state.now_s, reason=_why_ended(state, sounding)),)
    return state, ()


def _why_ended(state: State, sounding: Sounding) -> str:
    settings, last = state.settings, sounding.links[-1]
    if last.role is Role.CADENCE:
        return "cadence"
    if last.role is Role.TURNED:
        return "home"
    if settings.most_links is not None and len(sounding.starts_s) >= settings.most_links:
        return "limit"
    if settings.limit is Limit.COMPASS or state.chain is None:
        return "compass"
    following = state.chain.course.spelled(last.number + 1)
    has_keys = settings.compass.holds(s.midi for s in following if s is not None)
    return "clear" if has_keys else "compass"


def draw_ahead(state: State) -> State:
    """Draw up or count one link more: a little at a time, so that hearing never waits."""
    if _draws(state) and state.rest is not None:
        return _draw_one(state, state.rest)
    if state.count is not None and state.count.rest is not None:
        return replace(state, count=count_on(state.count))
    return state


def has_spare_work(state: State) -> bool:
    """Whether another link is to be drawn up or counted, to be shown."""
    return _draws(state) or (state.count is not None and state.count.rest is not None)


def _draws(state: State) -> bool:
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


# --- what the player wants otherwise ------------------------------------------------------------


def change_kind(state: State) -> Outcome:
    """Have the step counted the other way, from the next link on that is not handed over yet."""
    if state.sounding is not None:
        return _change_sounding(state, state.sounding)
    if state.prospect is None:
        return state, ()
    state = replace(state, kind_changed=not state.kind_changed, draw_s=state.now_s)
    if state.armed is None:
        return state, ()
    # it is with the sounding side already, the way it was: once more, from the plan
    state = replace(state, plan=state.armed.plan, armed=None)
    return state, (Hush(at_s=state.now_s),)


def _change_sounding(state: State, sounding: Sounding) -> Outcome:
    sent, most = sounding.sent, state.settings.most_links
    at_its_end = most is not None and len(sent) >= most
    if state.chain is None or at_its_end or sent[-1].role in (Role.TURNED, Role.CADENCE):
        return state, ()  # what is left is the way out, which is not counted
    wanted = sounding.own if state.kind_changed else other_kind(sounding.own)
    if wanted.kind is sounding.pattern.kind:
        return state, ()
    pattern = going_on(wanted, state.chain.course, sent)
    changed = replace(sounding, pattern=pattern, links=sent, kind_from=sent[-1].number + 1)
    state = with_chain(state, pattern, len(sent))
    state = replace(state, sounding=changed, kind_changed=not state.kind_changed, explanation=None)
    state, asked = ask(state)
    return state, (Understood(at_s=state.now_s, pattern=pattern), *asked)
