"""The sitting: hears, decides when to take over and when to give way. Pure: time comes as data.

Every transition lives here. `step` takes the state and an event and returns the next state and the
effects to perform, in order. The state owns its listener, whose buffers move on with it: an old
state is not to be stepped again.

How a take-over comes about: each note may leave a prospect, a sequence that stands at that
moment. Where two whole links of it have been heard the next is planned for its due time; where
nearly so, or where the player is carrying the chain on by himself, it is planned for a moment after
(`GRACE_S`), so that it sounds only if he stops. A further note from the player makes a new plan;
when the planned time comes, the pattern is drawn up and the first link is sounded.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from livecont.music.pitch import Spelling
from livecont.sequence.chain import Chain
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sequence.listener import Listener, Prospect
from livecont.sequence.pattern import Link, Pattern
from livecont.sitting.events import (
    ChangeKey,
    Cue,
    Effect,
    Ended,
    GaveWay,
    Hush,
    Lost,
    Quit,
    Settings,
    SittingEvent,
    Sound,
    Start,
    Stop,
    Tick,
    TookOver,
    Understood,
    Wake,
)
from livecont.sitting.snapshot import Phase, Snapshot

# the first note is decided so long before it is due: time to draw up the link and to feed it
LEAD_S = 0.03
# where it is not certain that the player stops, he is given so much longer to play the due note
GRACE_S = 0.08
# on-pause: no key for so long after the next note was due is a pause
PAUSE_S = 0.3
# a pattern is drawn up for the screen so long after the note that told it: off the note path
DRAW_S = 0.015
# a prospect whose next note is overdue by so many units is past
STALE_UNITS = 1.0
# units that differ by less are the same sequence, carried on by the player
SAME_UNIT = 0.2
# how much of the newest link must have its image before a pause alone may start the next
BEGUN_FOR_PAUSE = 0.7
HEARD_SHOWN = 16
LINKS_SHOWN = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """To sound the next link: decided at `decide_s` from the prospect, due at `due_s`."""

    prospect: Prospect
    decide_s: float
    due_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounding:
    """What livecont plays: links drawn up so far, when each sent one starts."""

    pattern: Pattern
    links: tuple[Link, ...]
    starts_s: tuple[float, ...]
    groups_at_start: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """A sequence that the player carried on by himself after a take-over."""

    step_degrees: int
    unit_s: float
    next_boundary: int  # the number of groups after which his next link is whole


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A sitting; see the module's text."""

    settings: Settings
    listener: Listener
    now_s: float = 0.0
    phase: Phase = Phase.LISTENING
    prospect: Prospect | None = None
    draw_s: float | None = None
    pattern: Pattern | None = None
    coming: tuple[Link, ...] = ()
    rest: Iterator[Link] | None = None
    plan: Plan | None = None
    sounding: Sounding | None = None
    followed: Followed | None = None
    groups: int = 0
    last_end: str | None = None


def begin(settings: Settings) -> State:
    """Return the state in which a sitting begins."""
    return State(settings=settings, listener=Listener(settings.key))


def step(state: State, event: SittingEvent) -> tuple[State, tuple[Effect, ...]]:
    """Take one event; return the next state and what is to be done, in order."""
    if state.phase is Phase.ENDED:
        return state, ()
    state = replace(state, now_s=event.at_s)
    effects: tuple[Effect, ...]
    match event:
        case KeyDown() | KeyUp() | PedalMove():
            state, effects = _played(state, event)
        case Tick():
            effects = ()
        case Cue():
            state, effects = _cued(state)
        case Stop():
            state, effects = _ended(state, "stopped")
        case ChangeKey():
            state.listener.choose_key(event.key)
            state = replace(state, settings=replace(state.settings, key=event.key))
            effects = ()
        case Lost():
            state, effects = _ended(state, "lost")
        case Quit():
            state, effects = _ended(state, "quit")
            state = replace(state, phase=Phase.ENDED)
            return state, effects
    state, timed = _in_time(state)
    wake_s = _next_wake_s(state)
    wake = () if wake_s is None else (Wake(at_s=wake_s),)
    return state, (*effects, *timed, *wake)


# --- the player ---------------------------------------------------------------------------------


def _played(state: State, event: PlayerEvent) -> tuple[State, tuple[Effect, ...]]:
    effects: tuple[Effect, ...] = ()
    if isinstance(event, KeyDown) and state.sounding is not None:
        state, effects = _give_way(state, event)
    prospect = state.listener.hear(event)
    if not isinstance(event, KeyDown):
        return state, effects
    state = replace(state, groups=state.listener.group_count)
    if prospect is None or prospect.confidence < state.settings.least_confidence:
        return replace(state, prospect=None, plan=None, draw_s=None), effects
    state = replace(
        state,
        prospect=prospect,
        plan=_plan(state, prospect),
        draw_s=event.at_s + DRAW_S,
        followed=_still_followed(state, prospect),
    )
    return state, effects


def _give_way(state: State, event: KeyDown) -> tuple[State, tuple[Effect, ...]]:
    """The player plays on: be silent, and hear him."""
    sounding = state.sounding
    assert sounding is not None  # noqa: S101  (the caller has looked)
    pattern = sounding.pattern
    if event.at_s >= sounding.starts_s[0] + pattern.unit_s:
        # after a link of ours his notes have nothing to do with his last ones
        state.listener.forget()
        followed = None
    else:
        followed = Followed(
            step_degrees=pattern.step_degrees,
            unit_s=pattern.unit_s,
            next_boundary=sounding.groups_at_start + _lag_of(state),
        )
    state = replace(
        state,
        phase=Phase.LISTENING,
        sounding=None,
        plan=None,
        coming=(),
        rest=None,
        followed=followed,
    )
    return state, (Hush(at_s=event.at_s), GaveWay(at_s=event.at_s))


def _lag_of(state: State) -> int:
    return state.prospect.alignment.lag if state.prospect is not None else 0


def _still_followed(state: State, prospect: Prospect) -> Followed | None:
    followed = state.followed
    if followed is None or not _same(followed, prospect):
        return None
    if state.groups > followed.next_boundary:
        boundary = followed.next_boundary + prospect.alignment.lag
        return replace(followed, next_boundary=boundary)
    return followed


def _same(followed: Followed, prospect: Prospect) -> bool:
    unit_s = prospect.timing.unit_s
    return (
        followed.step_degrees == prospect.alignment.step_degrees
        and abs(unit_s - followed.unit_s) <= SAME_UNIT * unit_s
    )


def _plan(state: State, prospect: Prospect) -> Plan | None:
    """When to decide on the next link, given what stands now."""
    due_s = prospect.timing.due_s
    start = state.settings.start
    if start is Start.ON_CUE:
        return None
    if start is Start.ON_PAUSE:
        decide_s = due_s + PAUSE_S
        return Plan(prospect=prospect, decide_s=decide_s, due_s=decide_s)
    followed = state.followed
    carried_on = (
        followed is not None
        and _same(followed, prospect)
        and state.groups != followed.next_boundary
    )
    if prospect.whole and not carried_on:
        return Plan(prospect=prospect, decide_s=due_s - LEAD_S, due_s=due_s)
    if prospect.alignment.begun >= BEGUN_FOR_PAUSE:
        return Plan(prospect=prospect, decide_s=due_s + GRACE_S, due_s=due_s)
    return None


def _cued(state: State) -> tuple[State, tuple[Effect, ...]]:
    """The player wants the next link: when due, or now where that has passed."""
    if state.sounding is not None or state.prospect is None:
        return state, ()
    due_s = max(state.prospect.timing.due_s, state.now_s)
    decide_s = max(state.now_s, due_s - LEAD_S)
    return replace(state, plan=Plan(prospect=state.prospect, decide_s=decide_s, due_s=due_s)), ()


# --- time ---------------------------------------------------------------------------------------


def _in_time(state: State) -> tuple[State, tuple[Effect, ...]]:
    """Do what is due by now."""
    effects: list[Effect] = []
    if state.plan is not None and state.now_s >= state.plan.decide_s:
        state, new = _take_over(state, state.plan)
        effects += new
    elif state.draw_s is not None and state.now_s >= state.draw_s:
        state, new = _draw(state)
        effects += new
    if state.sounding is not None:
        state, new = _sound_on(state, state.sounding)
        effects += new
    elif state.prospect is not None and _stale(state, state.prospect):
        state = replace(
            state, phase=Phase.LISTENING, prospect=None, plan=None, draw_s=None, followed=None
        )
    elif state.prospect is None and state.phase is not Phase.LISTENING:
        state = replace(state, phase=Phase.LISTENING, pattern=None, coming=(), rest=None)
    return _draw_chain(state), tuple(effects)


def _stale(state: State, prospect: Prospect) -> bool:
    if state.settings.start is Start.ON_CUE:
        return False
    timing = prospect.timing
    return state.plan is None and state.now_s > timing.due_s + STALE_UNITS * timing.unit_s


def _draw(state: State) -> tuple[State, tuple[Effect, ...]]:
    """Draw up the pattern for those who look on, when it is a new one."""
    prospect = state.prospect
    state = replace(state, draw_s=None)
    if prospect is None:
        return state, ()
    phase = Phase.READY if state.plan is not None else Phase.UNDERSTOOD
    if state.settings.start is Start.ON_CUE and prospect.whole:
        phase = Phase.READY
    pattern = state.listener.pattern(prospect, state.now_s)
    known = state.pattern
    state = replace(state, phase=phase, pattern=pattern, coming=(), rest=_chain(state, pattern))
    if known is not None and _alike(known, pattern):
        return state, ()
    return state, (Understood(at_s=state.now_s, pattern=pattern),)


def _alike(known: Pattern, pattern: Pattern) -> bool:
    return (
        known.step_degrees == pattern.step_degrees
        and abs(known.unit_s - pattern.unit_s) <= SAME_UNIT * pattern.unit_s
    )


def _chain(state: State, pattern: Pattern) -> Iterator[Link]:
    settings = state.settings
    return Chain(pattern=pattern, compass=settings.compass, most_links=settings.most_links).links()


def _take_over(state: State, plan: Plan) -> tuple[State, tuple[Effect, ...]]:
    pattern = state.listener.pattern(plan.prospect, state.now_s)
    rest = _chain(state, pattern)
    link = next(rest, None)
    state = replace(state, plan=None, draw_s=None, pattern=pattern, coming=(), rest=rest)
    told = Understood(at_s=state.now_s, pattern=pattern)
    if link is None:
        state = replace(state, phase=Phase.UNDERSTOOD, rest=None, last_end="compass")
        return state, (told, Ended(at_s=state.now_s, reason="compass"))
    sounding = Sounding(
        pattern=pattern, links=(link,), starts_s=(plan.due_s,), groups_at_start=state.groups
    )
    state = replace(state, phase=Phase.SOUNDING, sounding=sounding, last_end=None)
    return state, (
        told,
        TookOver(at_s=state.now_s, start_s=plan.due_s, pattern=pattern, link=link),
        Sound(start_s=plan.due_s, link=link),
    )


def _sound_on(state: State, sounding: Sounding) -> tuple[State, tuple[Effect, ...]]:
    """Send the next link when the last one sent has begun; end when the last has ended."""
    if state.now_s < sounding.starts_s[-1]:
        return state, ()
    sent = len(sounding.starts_s)
    next_start_s = sounding.starts_s[-1] + sounding.pattern.unit_s
    if sent < len(sounding.links):
        sounding = replace(sounding, starts_s=(*sounding.starts_s, next_start_s))
        state = replace(state, sounding=sounding)
        return state, (Sound(start_s=next_start_s, link=sounding.links[sent]),)
    if state.rest is None and state.now_s >= next_start_s:
        limit = state.settings.most_links
        reason = "limit" if limit is not None and sent >= limit else "compass"
        state.listener.forget()
        state = replace(
            state,
            phase=Phase.LISTENING,
            sounding=None,
            prospect=None,
            followed=None,
            pattern=None,
            coming=(),
            last_end=reason,
        )
        return state, (Ended(at_s=state.now_s, reason=reason),)
    return state, ()


def _draw_chain(state: State) -> State:
    """Draw up one more link of the chain: a little at a time, so that hearing never waits."""
    if state.rest is None:
        return state
    link = next(state.rest, None)
    if link is None or len(state.coming) >= LINKS_SHOWN:
        return replace(state, rest=None)
    if state.sounding is not None:
        sounding = replace(state.sounding, links=(*state.sounding.links, link))
        return replace(state, sounding=sounding)
    return replace(state, coming=(*state.coming, link))


def _next_wake_s(state: State) -> float | None:
    times = []
    if state.rest is not None:
        times.append(state.now_s)
    if state.plan is not None:
        times.append(state.plan.decide_s)
    if state.draw_s is not None:
        times.append(state.draw_s)
    if state.sounding is not None:
        start_s = state.sounding.starts_s[-1]
        begun = state.now_s >= start_s
        times.append(start_s + state.sounding.pattern.unit_s if begun else start_s)
    elif state.prospect is not None and state.settings.start is not Start.ON_CUE:
        timing = state.prospect.timing
        times.append(timing.due_s + STALE_UNITS * timing.unit_s + 0.001)
    return min(times, default=None)


def _ended(state: State, reason: str) -> tuple[State, tuple[Effect, ...]]:
    """Silence at once; the half-heard is forgotten."""
    effects: tuple[Effect, ...] = (Hush(at_s=state.now_s),)
    if state.sounding is not None:
        effects = (*effects, Ended(at_s=state.now_s, reason=reason))
        state = replace(state, last_end=reason)
    state.listener.forget()
    state = replace(
        state,
        phase=Phase.LISTENING,
        prospect=None,
        draw_s=None,
        pattern=None,
        coming=(),
        rest=None,
        plan=None,
        sounding=None,
        followed=None,
    )
    return state, effects


# --- what can be seen -----------------------------------------------------------------------------


def snapshot(state: State, at_s: float) -> Snapshot:
    """Return what can be seen of the sitting at a time not before its last event."""
    sounding = state.sounding
    link, start_s, coming = None, None, state.coming
    if sounding is not None:
        begun = [i for i, s in enumerate(sounding.starts_s) if at_s >= s]
        now = begun[-1] if begun else 0
        link, start_s = sounding.links[now], sounding.starts_s[now]
        coming = sounding.links[now + 1 :]
    complete = state.rest is None and state.pattern is not None
    sounded = () if link is None or start_s is None else _sounding_at(link, at_s - start_s)
    return Snapshot(
        at_s=at_s,
        phase=state.phase,
        key=state.listener.key,
        key_chosen=state.settings.key is not None,
        compass=state.settings.compass,
        heard=state.listener.latest(HEARD_SHOWN),
        pattern=state.pattern,
        links_heard=_links_heard(state.pattern),
        sounding=link,
        sounding_start_s=start_s,
        coming=coming,
        links_left=len(coming) if complete else None,
        held=tuple(sorted({*state.listener.held, *sounded})),
        last_end=state.last_end,
    )


def _sounding_at(link: Link, offset_s: float) -> tuple[int, ...]:
    return tuple(
        note.pitch
        for note in link.notes
        if note.offset_s <= offset_s < note.offset_s + note.duration_s
    )


def _links_heard(pattern: Pattern | None) -> tuple[tuple[Spelling, ...], ...]:
    if pattern is None:
        return ()
    return tuple(
        tuple(h for p in pattern.positions if (h := p.heard[link]) is not None) for link in (0, 1)
    )
