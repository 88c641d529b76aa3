"""The sitting: hears, decides when to take over and when to give way. Pure: time comes as data.

Every transition lives here. `step` takes the state and an event and returns the next state and the
effects to perform, in order. The state owns its listener, whose buffers move on with it: an old
state is not to be stepped again.

How a take-over comes about: each note may leave a prospect, a sequence that stands at that moment,
and a plan for the next link. Where two whole links have been heard it is planned for its due time;
where nearly so, or inside a link that the player carries on by himself, for a moment after, so that
it sounds only if he stops. Shortly before it is due the link is drawn up and handed to the sounding
side; a further note from the player cancels it. When the time comes livecont has taken over.
"""

from __future__ import annotations

from dataclasses import replace

from livecont.music.clarity import prepare
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sequence.listener import Listener, Prospect
from livecont.sequence.pattern import Link, Pattern
from livecont.sitting.asking import answered, as_wanted, ask, change_fullness
from livecont.sitting.carrying import (
    Outcome,
    chain_of,
    change_kind,
    draw_ahead,
    has_spare_work,
    look_again_s,
    sound_on,
    with_chain,
)
from livecont.sitting.events import (
    Analysed,
    ChangeFullness,
    ChangeKey,
    ChangeKind,
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
from livecont.sitting.kinds import other_kind
from livecont.sitting.seen import changed_by, snapshot
from livecont.sitting.snapshot import Phase
from livecont.sitting.state import (
    BROKE_IN_GROUPS,
    LEAD_S,
    SAME_UNIT,
    Armed,
    Followed,
    Plan,
    Sounding,
    State,
    is_due,
    is_followed,
    plan_for,
    with_moved_boundary,
)

__all__ = ["State", "begin", "chain_of", "snapshot", "step"]

# a pattern is drawn up for the screen so long after the note that told it: off the note path
DRAW_S = 0.015
# a prospect whose next note is overdue by so many units is past
STALE_UNITS = 1.0


def begin(settings: Settings) -> State:
    """Return the state in which a sitting begins."""
    if settings.spectrum is not None:
        prepare(settings.spectrum)  # some 50 ms once, that the first link would have to wait for
    return State(settings=settings, listener=Listener(settings.key))


def step(state: State, event: SittingEvent) -> Outcome:
    """Take one event; return the next state and what is to be done, in order."""
    if state.phase is Phase.ENDED:
        return state, ()
    state = replace(state, now_s=event.at_s)
    # what was due before the event comes first: a link whose time has come has been sounded
    state, started = _start_armed(state)
    effects: tuple[Effect, ...] = ()
    match event:
        case KeyDown() | KeyUp() | PedalMove():
            state, effects = _played(state, event)
        case Tick():
            pass
        case Cue():
            state, effects = _cued(state)
        case Stop():
            state, effects = _ended(state, "stopped")
        case ChangeKey():
            state.listener.choose_key(event.key)
            state = replace(state, settings=replace(state.settings, key=event.key))
        case ChangeKind():
            state, effects = change_kind(state)
        case ChangeFullness():
            state = change_fullness(state)
            state, effects = ask(state)
        case Analysed():
            state = answered(state, event)
        case Lost():
            state, effects = _ended(state, "lost")
        case Quit():
            state, effects = _ended(state, "quit")
            return replace(state, phase=Phase.ENDED), (*started, *effects)
    timed: tuple[Effect, ...] = ()
    if not isinstance(event, KeyDown | KeyUp | PedalMove | Analysed):
        # never while a note waits to be heard: what is due now is done at the next tick
        state, timed = _in_time(state)
    wake_s = _next_wake_s(state)
    wake = () if wake_s is None else (Wake(at_s=wake_s),)
    return state, (*started, *effects, *timed, *wake)


# --- the player ---------------------------------------------------------------------------------


def _played(state: State, event: PlayerEvent) -> Outcome:
    effects: tuple[Effect, ...] = ()
    if not isinstance(event, KeyDown):
        state.listener.hear(event)
        return state, effects
    gives_way = state.sounding is not None
    if state.sounding is not None:
        state, effects = _give_way(state, state.sounding, event)
    elif state.armed is not None:
        state, effects = replace(state, armed=None), (Hush(at_s=state.now_s),)
    prospect = state.listener.hear(event)
    state = replace(state, groups=state.listener.group_count)
    if prospect is None:
        return replace(state, prospect=None, plan=None, draw_s=None), effects
    state = replace(
        state,
        prospect=prospect,
        draw_s=event.at_s + DRAW_S,
        followed=_still_followed(state, prospect),
    )
    if gives_way:
        state = with_moved_boundary(state, prospect)
    return replace(state, plan=plan_for(state, prospect)), effects


def _give_way(state: State, sounding: Sounding, event: KeyDown) -> Outcome:
    """The player plays on: be silent, and hear him."""
    pattern = sounding.pattern
    followed = None
    if state.now_s >= sounding.starts_s[0] + pattern.unit_s:
        # after a link of ours his notes have nothing to do with his last ones
        state.listener.forget()
    elif state.prospect is not None and state.prospect.whole:
        boundary = state.groups + state.prospect.alignment.lag
        followed = Followed(
            step_degrees=pattern.step_degrees,
            unit_s=pattern.unit_s,
            next_boundary=boundary,
            moved=state.followed is not None and state.followed.moved,
        )
    due = is_due(sounding, event.pitch, event.at_s)
    quiet_until = 0 if due else state.listener.group_count + BROKE_IN_GROUPS
    state = replace(_silent(state, followed), quiet_until=quiet_until)
    return state, (Hush(at_s=state.now_s), GaveWay(at_s=state.now_s))


def _still_followed(state: State, prospect: Prospect) -> Followed | None:
    followed = state.followed
    if followed is None or not is_followed(followed, prospect):
        return None
    if state.groups > followed.next_boundary:
        boundary = followed.next_boundary + prospect.alignment.lag
        return replace(followed, next_boundary=boundary)
    return followed


def _cued(state: State) -> Outcome:
    """The player wants the next link: when due, or now where that has passed."""
    prospect = state.prospect
    if state.sounding is not None or prospect is None:
        return state, ()
    due_s = max(prospect.timing.due_s, state.now_s)
    effects: tuple[Effect, ...] = ()
    if state.armed is not None:
        if state.armed.plan.from_s <= due_s:
            return state, ()  # it is handed over already, and no later than he wants it
        state, effects = replace(state, armed=None), (Hush(at_s=state.now_s),)
    decide_s = max(state.now_s, due_s - LEAD_S)
    plan = Plan(prospect=prospect, decide_s=decide_s, due_s=due_s, from_s=due_s)
    return replace(state, plan=plan), effects


# --- time ---------------------------------------------------------------------------------------


def _in_time(state: State) -> Outcome:
    """Do what is due by now."""
    effects: tuple[Effect, ...] = ()
    if state.plan is not None and state.now_s >= state.plan.decide_s:
        state, effects = _arm(state, state.plan)
        state, started = _start_armed(state)
        effects = (*effects, *started)
    elif state.draw_s is not None and state.now_s >= state.draw_s:
        state, effects = _draw(state)
    if state.sounding is not None:
        state, sent = sound_on(state, state.sounding)
        effects = (*effects, *sent)
        for ended in sent:
            if isinstance(ended, Ended):
                state.listener.forget()
                state = replace(_silent(state, None), last_end=ended.reason)
    elif _nothing_stands(state):
        state = _silent(state, None)
    return draw_ahead(state), effects


def _nothing_stands(state: State) -> bool:
    prospect = state.prospect
    if prospect is None:
        return state.phase is not Phase.LISTENING
    if state.settings.start is Start.ON_CUE or state.plan is not None or state.armed is not None:
        return False
    timing = prospect.timing
    return state.now_s > timing.due_s + STALE_UNITS * timing.unit_s


def _silent(state: State, followed: Followed | None) -> State:
    """Back to listening, with nothing planned."""
    changed = state.changed
    if state.sounding is not None:
        changed = changed_by(state.sounding, state.now_s)
    return replace(
        state,
        changed=changed,
        phase=Phase.LISTENING,
        prospect=None,
        draw_s=None,
        pattern=None,
        coming=(),
        chain=None,
        rest=None,
        count=None,
        kind_changed=False,
        asked=None,
        explanation=None,
        main_notes=None,
        plan=None,
        armed=None,
        sounding=None,
        followed=followed,
    )


def _draw(state: State) -> Outcome:
    """Draw up the pattern for those who look on; tell of it when it is a new one."""
    prospect = state.prospect
    state = replace(state, draw_s=None)
    if prospect is None:
        return state, ()
    step_degrees, unit_s = prospect.alignment.step_degrees, prospect.timing.unit_s
    alike = state.pattern is not None and _alike(state.pattern, step_degrees, unit_s)
    if alike and not state.settings.draws_ahead:
        return state, ()  # nobody looks on, and there is nothing new to tell
    pattern = state.listener.pattern(prospect, state.now_s)
    if pattern.confidence < state.settings.least_confidence:
        return _silent(state, state.followed), ()
    waits_for_cue = state.settings.start is Start.ON_CUE and prospect.whole
    ready = state.plan is not None or waits_for_cue
    if not alike:
        state = replace(state, explanation=None, main_notes=None)
    state = with_chain(state, other_kind(pattern) if state.kind_changed else pattern)
    state = replace(state, phase=Phase.READY if ready else Phase.UNDERSTOOD)
    state, asked = ask(state)
    if alike:
        return state, asked
    return state, (Understood(at_s=state.now_s, pattern=pattern), *asked)


def _alike(known: Pattern, step_degrees: int, unit_s: float) -> bool:
    return known.step_degrees == step_degrees and abs(known.unit_s - unit_s) <= SAME_UNIT * unit_s


def _arm(state: State, plan: Plan) -> Outcome:
    """Draw up the next link and hand it over; look closely first whether it is one."""
    own = state.listener.pattern(plan.prospect, state.now_s)
    if own.confidence < state.settings.least_confidence:
        return _silent(state, state.followed), ()
    pattern = other_kind(own) if state.kind_changed else own
    state = replace(with_chain(state, pattern), plan=None, draw_s=None)
    link = None if state.rest is None else next(state.rest, None)
    if link is None:
        state = replace(state, phase=Phase.UNDERSTOOD, rest=None, last_end="compass")
        told = Understood(at_s=state.now_s, pattern=pattern)
        return state, (told, Ended(at_s=state.now_s, reason="compass"))
    handed = as_wanted(state, link)
    armed = Armed(
        plan=plan, decided_s=state.now_s, own=own, pattern=pattern, link=link, handed=handed
    )
    held_back = _held_back(handed, plan.from_s - plan.due_s)
    state, asked = ask(replace(state, phase=Phase.READY, armed=armed))
    return state, (Sound(start_s=plan.due_s, link=held_back), *asked)


def _held_back(link: Link, least_offset_s: float) -> Link:
    """The link with no note before an offset: those that were due before sound then."""
    if least_offset_s <= 0:
        return link
    notes = tuple(replace(note, offset_s=max(note.offset_s, least_offset_s)) for note in link.notes)
    return replace(link, notes=notes)


def _start_armed(state: State) -> Outcome:
    """The moment has come and the player has not played: livecont has taken over."""
    armed = state.armed
    if armed is None or state.now_s < armed.plan.from_s:
        return state, ()
    due_s = armed.plan.due_s
    sounding = Sounding(
        own=armed.own,
        pattern=armed.pattern,
        links=(armed.link, *state.coming),
        handed=(armed.handed,),
        starts_s=(due_s,),
        kind_from=armed.link.number if state.kind_changed else 2,
    )
    state = replace(
        state,
        phase=Phase.SOUNDING,
        sounding=sounding,
        armed=None,
        coming=(),
        last_end=None,
        changed=None,
    )
    decided_s, pattern = armed.decided_s, armed.pattern
    return state, (
        Understood(at_s=decided_s, pattern=pattern),
        TookOver(at_s=decided_s, start_s=due_s, pattern=pattern, link=armed.handed),
    )


def _next_wake_s(state: State) -> float | None:
    times = []
    if has_spare_work(state):
        times.append(state.now_s)
    if state.plan is not None:
        times.append(state.plan.decide_s)
    if state.armed is not None:
        times.append(state.armed.plan.from_s)
    if state.draw_s is not None:
        times.append(state.draw_s)
    if state.sounding is not None:
        look_s = look_again_s(state.sounding)
        ends_s = state.sounding.starts_s[-1] + state.sounding.sent[-1].unit_s
        times.append(look_s if state.now_s < look_s else ends_s)
    elif state.prospect is not None and state.settings.start is not Start.ON_CUE:
        timing = state.prospect.timing
        times.append(timing.due_s + STALE_UNITS * timing.unit_s + 0.001)
    return max(min(times), state.now_s) if times else None


def _ended(state: State, reason: str) -> Outcome:
    """Silence at once; the half-heard is forgotten."""
    effects: tuple[Effect, ...] = (Hush(at_s=state.now_s),)
    sounded = state.sounding is not None
    state.listener.forget()
    state = _silent(state, None)
    if not sounded:
        return state, effects
    ended = Ended(at_s=state.now_s, reason=reason)
    return replace(state, last_end=reason), (*effects, ended)
