"""What can be seen of a sitting: its state made a snapshot. Pure."""

from __future__ import annotations

from livecont.music.pitch import Spelling
from livecont.sequence.endings import Ending
from livecont.sequence.pattern import Link, Pattern
from livecont.sitting.snapshot import Snapshot
from livecont.sitting.state import State

HEARD_SHOWN = 16


def snapshot(state: State, at_s: float) -> Snapshot:
    """Return what can be seen of the sitting at a time not before its last event."""
    sounding, settings = state.sounding, state.settings
    link, start_s, coming = None, None, state.coming
    if sounding is not None:
        begun = [i for i, s in enumerate(sounding.starts_s) if at_s >= s]
        now = begun[-1] if begun else 0
        link, start_s = sounding.links[now], sounding.starts_s[now]
        coming = sounding.links[now + 1 :]
    elif state.armed is not None:
        link, start_s = state.armed.link, state.armed.plan.from_s
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
        endless=settings.ending is Ending.FOLD and settings.most_links is None,
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
