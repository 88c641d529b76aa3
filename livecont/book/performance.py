"""An entry played: what the player's hands would do for its links, and for links that follow.

Conventions: seconds from the performance's start; events in time order, releases before strikes of
the same moment. What was played is played as it was; what is from paper is played evenly, its notes
a little shorter than written so that they are told apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from livecont.book.entry import Entry
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sequence.pattern import Link

TOUCH = 0.92  # of a written length, a note from paper is held
APART_S = 0.015  # a key is up this long before it goes down again
LEAST_S = 0.02

Stroke = tuple[float, float, int, int, int]  # down_s, up_s, pitch, velocity, channel


def performed(
    entry: Entry, start_s: float = 0.0, unit_s: float | None = None
) -> tuple[PlayerEvent, ...]:
    """Return the entry's own links as events.

    Args:
        entry: what is played.
        start_s: when its first link starts.
        unit_s: how long a link lasts; None for the entry's own tempo.
    """
    unit_s = unit_s or entry.unit_s
    touch = 1.0 if entry.unit_q is None else TOUCH
    start_s += _upbeat_units(entry) * unit_s
    strokes: list[Stroke] = []
    for note in entry.notes:
        down_s = start_s + (note.link - 1 + float(note.onset_units)) * unit_s
        up_s = down_s + max(LEAST_S, float(note.length_units) * unit_s * touch)
        strokes.append((down_s, up_s, note.spelling.midi, note.velocity, note.channel))
    pedals = [
        PedalMove(
            at_s=max(0.0, start_s + (link + mark.offset_units) * unit_s),
            controller=mark.controller,
            value=mark.value,
        )
        for link in range(entry.links)
        for mark in entry.pedals
    ]
    return strokes_events(strokes, pedals)


def end_s(entry: Entry, start_s: float = 0.0, unit_s: float | None = None) -> float:
    """Return when the last of an entry's own links ends, and the next one is due."""
    return start_s + (entry.links + _upbeat_units(entry)) * (unit_s or entry.unit_s)


def _upbeat_units(entry: Entry) -> float:
    """How long before the first link's start its first note is, if it is."""
    onsets = [float(note.onset_units) for note in entry.notes if note.link == 1]
    return -min([0.0, *onsets])


def links_performed(links: Iterable[Link], start_s: float) -> tuple[PlayerEvent, ...]:
    """Return further links as events, one after the other, the first from `start_s` on."""
    strokes: list[Stroke] = []
    pedals: list[PedalMove] = []
    for link in links:
        for note in link.notes:
            down_s = start_s + note.offset_s
            up_s = down_s + max(LEAST_S, note.duration_s)
            strokes.append((down_s, up_s, note.pitch, note.velocity, note.channel))
        pedals += [
            PedalMove(
                at_s=max(0.0, start_s + mark.offset_units * link.unit_s),
                controller=mark.controller,
                value=mark.value,
            )
            for mark in link.pedals
        ]
        start_s += link.unit_s
    return strokes_events(strokes, pedals)


def strokes_events(
    strokes: Iterable[Stroke], pedals: Iterable[PedalMove] = ()
) -> tuple[PlayerEvent, ...]:
    """Return strokes as events in order, each key up before it goes down again."""
    events: list[PlayerEvent] = [*pedals]
    for down_s, up_s, pitch, velocity, channel in _apart(sorted(strokes)):
        events.append(KeyDown(at_s=down_s, pitch=pitch, velocity=velocity, channel=channel))
        events.append(KeyUp(at_s=up_s, pitch=pitch, channel=channel))
    return tuple(sorted(events, key=lambda event: (event.at_s, not isinstance(event, KeyUp))))


def _apart(strokes: list[Stroke]) -> Iterator[Stroke]:
    """Let a key come up before it goes down again; of two strokes at once, play one."""
    following: dict[tuple[int, int], float] = {}
    for down_s, up_s, pitch, velocity, channel in reversed(strokes):
        again_s = following.get((channel, pitch))
        if again_s is not None and again_s - down_s < LEAST_S + APART_S:
            continue
        following[channel, pitch] = down_s
        latest_s = up_s if again_s is None else min(up_s, again_s - APART_S)
        yield down_s, latest_s, pitch, velocity, channel
