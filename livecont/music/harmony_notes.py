"""The notes of a link as the segmentation reads them, all links at once.

Conventions: times in units; `places` are staff places in the frame of link 1: a note of link k is
moved back by k - 1 steps, so that the links lie on top of each other. What follows the link's end
is its beginning, moved by the step: the frame is a circle in time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from livecont.music.pitch import Spelling

NEAR_UNITS = 0.03  # onsets so near are one [people spread chords by some 30 ms: Goebl 2001]
PLACES = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkTone:
    """A note of the link: when, how long, and its pitch in each link heard (None where missing)."""

    start: float
    end: float
    heard: tuple[Spelling | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """A note in the frame of link 1; `share` is in how much of the links it is.

    `after` are the motions to the notes that follow it, within a second (0 the same, -1 a step
    down), `before` likewise. `bass_stays`: when it ends, the bass is where it was before that.
    """

    start: float
    end: float
    place: int
    share: float
    after: frozenset[int]
    before: frozenset[int]
    bass_stays: bool

    @property
    def length(self) -> float:
        """How long it sounds."""
        return self.end - self.start


def tones_of(notes: Sequence[LinkTone], step: int) -> tuple[tuple[Tone, ...], tuple[float, ...]]:
    """Return the tones of a link in one frame, and the times at which anything begins."""
    times = _times(notes)
    placed = [_placed(note, step, times) for note in notes]
    kept = [one for one in placed if one is not None]
    rows = tuple(
        Tone(
            start=start,
            end=end,
            place=place,
            share=share,
            after=_beside(kept, end, place, step, at_start=True),
            before=_beside(kept, start, place, step, at_start=False),
            bass_stays=_stays(kept, end, place, step),
        )
        for start, end, place, share in kept
    )
    return rows, times


def _times(notes: Sequence[LinkTone]) -> tuple[float, ...]:
    found: list[float] = []
    for at in sorted(note.start for note in notes):
        at_least = max(0.0, at)
        if not found or at_least - found[-1] > NEAR_UNITS:
            found.append(at_least)
    if found and found[0] + 1.0 - found[-1] <= NEAR_UNITS:
        found.pop()
    return tuple(found)


def _placed(
    note: LinkTone, step: int, times: tuple[float, ...]
) -> tuple[float, float, int, float] | None:
    places = [s.staff - k * step for k, s in enumerate(note.heard) if s is not None]
    if not places:
        return None
    start = min(times, key=lambda at: abs(at - note.start))
    later = next((at for at in (*times, *(t + 1.0 for t in times)) if at > start), start + 1.0)
    # a gap before whatever comes next is touch, not silence
    end = max(note.end, later)
    snapped = min((*times, *(t + 1.0 for t in times)), key=lambda at: abs(at - end))
    end = snapped if abs(snapped - end) <= NEAR_UNITS else end
    return start, min(end, start + 1.0), places[-1], len(places) / len(note.heard)


def _beside(
    rows: Sequence[tuple[float, float, int, float]],
    at: float,
    place: int,
    step: int,
    *,
    at_start: bool,
) -> frozenset[int]:
    """The motions to notes that begin (or, before, end) at a time, of at most a second."""
    found = set()
    for start, end, other, _ in rows:
        edge = start if at_start else end
        for lap in (-1, 0, 1):
            if abs(edge + lap - at) <= NEAR_UNITS:
                away = other + lap * step - place
                if abs(away) <= 1:
                    found.add(away)
    return frozenset(found)


def _stays(
    rows: Sequence[tuple[float, float, int, float]], at: float, place: int, step: int
) -> bool:
    """Whether the bass below a note has the same letter just before and just after a time."""
    lows = []
    for moment in (at - NEAR_UNITS, at + NEAR_UNITS):
        below = [
            other + lap * step
            for start, end, other, _ in rows
            for lap in (-1, 0, 1)
            if start + lap <= moment < end + lap and other + lap * step < place
        ]
        lows.append(min(below) % PLACES if below else None)
    return lows[0] is not None and lows[0] == lows[1]
