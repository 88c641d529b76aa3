"""What can be seen of a sitting: its state made a snapshot. Pure."""

from __future__ import annotations

from livecont.music.pitch import Spelling
from livecont.sequence.endings import Ending
from livecont.sequence.pattern import Link, Pattern, Role
from livecont.sitting.asking import as_wanted
from livecont.sitting.kinds import unchanged
from livecont.sitting.snapshot import Changed, Snapshot
from livecont.sitting.state import Sounding, State

HEARD_SHOWN = 16


def snapshot(state: State, at_s: float) -> Snapshot:
    """Return what can be seen of the sitting at a time not before its last event."""
    sounding, settings = state.sounding, state.settings
    link, start_s = None, None
    past: tuple[Link, ...] = ()
    coming = tuple(as_wanted(state, one) for one in state.coming)
    if sounding is not None:
        begun = [i for i, s in enumerate(sounding.starts_s) if at_s >= s]
        now = begun[-1] if begun else 0
        link, start_s = sounding.handed[now], sounding.starts_s[now]
        coming, past = _coming(state, sounding, now + 1), sounding.handed[:now]
    elif state.armed is not None:
        link, start_s = state.armed.handed, state.armed.plan.from_s
    reach = None
    if state.count is not None and (sounding is None or _by_the_step(sounding)):
        reach = state.count.after(link.number if link is not None else _last_heard(state.pattern))
    complete = state.rest is None and state.pattern is not None
    sounded = () if link is None or start_s is None else _sounding_at(link, at_s - start_s)
    return Snapshot(
        at_s=at_s,
        phase=state.phase,
        key=state.listener.key if state.pattern is None else state.pattern.key,
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
        endless=settings.ending is Ending.FOLD and settings.most_links is None,
        reach=reach,
        changed=state.changed if sounding is None else changed_by(sounding, at_s),
        kind_changed=state.kind_changed,
        kind_from=_kind_from(state),
        past=past,
        explanation=state.explanation,
        fullness=settings.fullness,
    )


def changed_by(sounding: Sounding, at_s: float) -> Changed | None:
    """Return the latest link that was changed on purpose and is over by a time."""
    over = [
        Changed(number=link.number, said=link.changed)
        for link, start_s in zip(sounding.sent, sounding.starts_s, strict=True)
        if link.changed is not None and at_s >= start_s + link.unit_s
    ]
    return over[-1] if over else None


def _coming(state: State, sounding: Sounding, first: int) -> tuple[Link, ...]:
    """The links from one on, as they will sound; a surprise is not given away before."""
    coming = []
    for i, link in enumerate(sounding.links[first:], first):
        if link.changed is not None and state.chain is not None:
            coming.append(as_wanted(state, unchanged(state.chain.course, sounding.links[: i + 1])))
        else:
            handed = i < len(sounding.handed)
            coming.append(sounding.handed[i] if handed else as_wanted(state, link))
    return tuple(coming)


def _last_heard(pattern: Pattern | None) -> int:
    return 0 if pattern is None else pattern.links_heard


def _by_the_step(sounding: Sounding) -> bool:
    """Whether the chain has gone its plain way so far."""
    return all(link.role is Role.CHAIN for link in sounding.sent)


def _kind_from(state: State) -> int:
    if state.sounding is not None:
        return state.sounding.kind_from
    changed = state.kind_changed and state.pattern is not None
    return state.pattern.links_heard + 1 if changed and state.pattern is not None else 2


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
