"""The state of a sitting, and when the next link is to be decided.

Conventions: as in `sitting.events`. Values only; the transitions are in `sitting.machine`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from livecont.sequence.chain import Chain
from livecont.sequence.listener import Listener, Prospect
from livecont.sequence.pattern import Link, Pattern
from livecont.sitting.counting import Count
from livecont.sitting.events import Settings, Start
from livecont.sitting.explanation import Explanation
from livecont.sitting.main_notes import MainNotes
from livecont.sitting.snapshot import Changed, Phase

# a link is drawn up and handed over so long before it is due
LEAD_S = 0.03
# where it is not certain that the player stops, he is given so much longer to play the due note
GRACE_S = 0.08
# on-pause: no key for so long after the next note was due is a pause
PAUSE_S = 0.3
# units that differ by less are the same sequence, carried on by the player
SAME_UNIT = 0.2
# how much of the newest link must have its image before a pause alone may start the next
BEGUN_FOR_PAUSE = 0.6
# who breaks in with another note than the one due has to play so many groups of notes first
BROKE_IN_GROUPS = 3
# a note is the one due where it comes so near to its time, in units and at least in seconds
DUE_UNITS = 0.1
DUE_S = 0.12


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """To sound the next link: drawn up at `decide_s`, due at `due_s`, not sounded before `from_s`.

    The chain keeps the time of `due_s`; notes of the link that fall before `from_s` sound then.
    """

    prospect: Prospect
    decide_s: float
    due_s: float
    from_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Armed:
    """A plan carried out so far: its link is with the sounding side and starts unless cancelled.

    `own`, `pattern` as in `Sounding`, `handed` is the link as it sounds.
    """

    plan: Plan
    decided_s: float
    own: Pattern
    pattern: Pattern
    link: Link
    handed: Link


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounding:
    """What livecont plays: links drawn up so far, and when each that was sent starts.

    `links` are whole, `handed` those that were sent as they sound, whole or their main notes.
    `pattern` is the one in force, `own` the one that the player's links made, `kind_from` the first
    link that is the one before it, moved as the step is counted now.
    """

    own: Pattern
    pattern: Pattern
    links: tuple[Link, ...]
    handed: tuple[Link, ...]
    starts_s: tuple[float, ...]
    kind_from: int = 2

    @property
    def sent(self) -> tuple[Link, ...]:
        """The links that are with the sounding side, whole."""
        return self.links[: len(self.starts_s)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """A sequence that the player carried on by himself after a take-over.

    `next_boundary` is the number of groups after which his next link is whole; `moved` tells that
    it was moved to where he showed it to be.
    """

    step_degrees: int
    unit_s: float
    next_boundary: int
    moved: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A sitting. `groups` counts groups of onsets heard; `last_end` is why the last chain ended.

    `quiet_until` is the number of groups before which a pause alone starts nothing: a player who
    broke in with something else and stops wants silence. `chain` is the one whose links come,
    `rest` yields those not drawn up yet. `kind_changed`: the step is counted the other way, at the
    player's wish. `changed` is what the last chain changed on purpose, once it is over.
    `explanation` is what the pattern is and `main_notes` makes its links into reductions; both may
    still be those of an earlier draft of it. `asked` is the draft that was last asked about.
    """

    settings: Settings
    listener: Listener
    now_s: float = 0.0
    phase: Phase = Phase.LISTENING
    prospect: Prospect | None = None
    draw_s: float | None = None
    pattern: Pattern | None = None
    coming: tuple[Link, ...] = ()
    chain: Chain | None = None
    rest: Iterator[Link] | None = None
    count: Count | None = None
    kind_changed: bool = False
    changed: Changed | None = None
    asked: Pattern | None = None
    explanation: Explanation | None = None
    main_notes: MainNotes | None = None
    plan: Plan | None = None
    armed: Armed | None = None
    sounding: Sounding | None = None
    followed: Followed | None = None
    groups: int = 0
    quiet_until: int = 0
    last_end: str | None = None


def plan_for(state: State, prospect: Prospect) -> Plan | None:
    """Return when to decide on the next link, given what stands now; None: not yet, or on cue."""
    due_s = prospect.timing.due_s
    start = state.settings.start
    if start is Start.ON_CUE or due_s + GRACE_S < state.now_s:
        return None  # what is long past is not made up for
    if start is Start.ON_PAUSE:
        at_s = due_s + PAUSE_S
        return Plan(prospect=prospect, decide_s=at_s - LEAD_S, due_s=at_s, from_s=at_s)
    if prospect.whole and not _inside_a_followed_link(state, prospect):
        return Plan(prospect=prospect, decide_s=due_s - LEAD_S, due_s=due_s, from_s=due_s)
    if state.groups < state.quiet_until:
        return None
    if prospect.whole or prospect.alignment.begun >= BEGUN_FOR_PAUSE:
        from_s = due_s + GRACE_S
        return Plan(prospect=prospect, decide_s=due_s - LEAD_S, due_s=due_s, from_s=from_s)
    return None


def is_due(sounding: Sounding, pitch: int, at_s: float) -> bool:
    """Whether a note of the player's is one that livecont was to sound about then."""
    near_s = max(DUE_S, DUE_UNITS * sounding.pattern.unit_s)
    return any(
        note.pitch == pitch and abs(start_s + note.offset_s - at_s) <= near_s
        for link, start_s in zip(sounding.links, sounding.starts_s, strict=False)
        for note in link.notes
    )


def is_followed(followed: Followed, prospect: Prospect) -> bool:
    """Whether a prospect is the sequence that the player carries on by himself."""
    unit_s = prospect.timing.unit_s
    return (
        followed.step_degrees == prospect.alignment.step_degrees
        and abs(unit_s - followed.unit_s) <= SAME_UNIT * unit_s
    )


def with_moved_boundary(state: State, prospect: Prospect) -> State:
    """Move the boundary to the note with which he broke in: another than the one due, that fits.

    The sequence was heard right, but from a note too early on; it is whole with this note. That is
    granted once: who goes on is not to be interrupted note by note.
    """
    followed, fits = state.followed, prospect.alignment.path.gained[1] > 0
    if followed is None or followed.moved or not prospect.whole or not fits:
        return state
    if state.quiet_until == 0:  # his note was the one due
        return state
    followed = replace(followed, next_boundary=state.groups, moved=True)
    return replace(state, followed=followed, quiet_until=0)


def _inside_a_followed_link(state: State, prospect: Prospect) -> bool:
    followed = state.followed
    return (
        followed is not None
        and is_followed(followed, prospect)
        and state.groups != followed.next_boundary
    )
