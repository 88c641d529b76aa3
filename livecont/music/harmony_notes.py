"""The notes of a link as the segmentation reads them, all links at once.

Conventions: times in units; `places` are staff places in the frame of link 1: a note of link k is
moved back by k - 1 steps, so that the links lie on top of each other. What follows the link's end
is its beginning, moved by the step: the frame is a circle in time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from livecont.music.pitch import Spelling

NEAR_UNITS = 0.03  # onsets so near are one [people spread chords by some 30 ms: Goebl 2001]
TOUCH_SHARE = 0.25  # of the time from one onset to the next
LENGTH_SHARE = 0.15  # of a note's length
PLACES = 7
TINY = 1e-6
# the bass of a broken chord comes again within so long
BROKEN_UNITS = 0.25
LAPS = (-1, 0, 1)
# above the bass, in places: what a suspension is, resolving to third, sixth and octave
DISSONANT = (1, 3, 6)
FIFTH, SEVENTH = 4, 6


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkTone:
    """A note of the link: when, how long, and its pitch in each link heard (None where missing)."""

    start: float
    end: float
    heard: tuple[Spelling | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """A note in the frame of link 1, or the part of one that is a suspension.

    `index` is that of the link's note; `share` in how much of the links it is. A suspension stands
    for the note to which it resolves: `place` is that one's. `after` are the motions to the notes
    that follow, within a second (0 the same, -1 a step down), `before` likewise. `alters` are its
    accidentals in each link, None where it is missing there.
    """

    index: int
    start: float
    end: float
    place: int
    share: float
    alters: tuple[int | None, ...] = ()
    suspended: bool = False
    after: frozenset[int] = frozenset()
    before: frozenset[int] = frozenset()
    bass: tuple[int, float] | None = None  # place and start of the bass that stays when it ends

    @property
    def length(self) -> float:
        """How long it sounds."""
        return self.end - self.start


@lru_cache(maxsize=16)
def tones_of(notes: tuple[LinkTone, ...], step: int) -> tuple[tuple[Tone, ...], tuple[float, ...]]:
    """Return the tones of a link in one frame, and the times at which anything begins."""
    times = _times(notes)
    placed = [
        tone
        for index, note in enumerate(notes)
        if (tone := _placed(index, note, step, times)) is not None
    ]
    tones: list[Tone] = []
    for tone in placed:
        known = replace(
            tone,
            after=_beside(placed, tone.end, tone.place, step, at_start=True),
            before=_beside(placed, tone.start, tone.place, step, at_start=False),
            bass=_bass_kept(placed, tone, step),
        )
        tones += _suspended(known, placed, step)
    return tuple(tones), times


def _times(notes: Sequence[LinkTone]) -> tuple[float, ...]:
    found: list[float] = []
    for at in sorted(max(0.0, note.start) for note in notes):
        if not found or at - found[-1] > NEAR_UNITS:
            found.append(at)
    if found and found[0] + 1.0 - found[-1] <= NEAR_UNITS:
        found.pop()
    return tuple(found)


def _placed(index: int, note: LinkTone, step: int, times: tuple[float, ...]) -> Tone | None:
    places = [s.staff - k * step for k, s in enumerate(note.heard) if s is not None]
    if not places:
        return None
    start = min(times, key=lambda at: abs(at - note.start))
    further = (*times, *(at + 1.0 for at in times), times[0] + 2.0)
    # a gap before whatever comes next is touch, not silence
    end = max(note.end, next(at for at in further if at > start))
    return Tone(
        index=index,
        start=start,
        end=min(_snapped(start, end, further), start + 1.0),
        place=places[-1],
        share=len(places) / len(note.heard),
        alters=tuple(None if s is None else s.alter for s in note.heard),
    )


def _snapped(start: float, end: float, times: Sequence[float]) -> float:
    """Let a note end where another begins, if it ends shortly before or after: that is touch."""
    before = max(at for at in times if at <= end + NEAR_UNITS)
    after = min((at for at in times if at > before), default=before)
    if end - before <= TOUCH_SHARE * (after - before):
        return before
    touch = max(TOUCH_SHARE * (after - before), LENGTH_SHARE * (end - start))
    return after if after - end <= touch else end


def _beside(
    tones: Sequence[Tone], at: float, place: int, step: int, *, at_start: bool
) -> frozenset[int]:
    """The motions to notes that begin (or, before, end) at a time, of at most a second."""
    found = set()
    for tone in tones:
        edge = tone.start if at_start else tone.end
        for lap in LAPS:
            away = tone.place + lap * step - place
            if abs(away) <= 1 and abs(edge + lap - at) <= NEAR_UNITS:
                found.add(away)
    return frozenset(found)


def _below(
    tones: Sequence[Tone], tone: Tone, span: tuple[float, float], step: int
) -> tuple[int, float] | None:
    """The lowest note below a tone in a time: its place and when it began; None where none is."""
    found = [
        (other.place + lap * step, other.start + lap)
        for other in tones
        for lap in LAPS
        if other.start + lap < span[1]
        and other.end + lap > span[0]
        and other.place + lap * step < tone.place
    ]
    return min(found, default=None)


def _bass_kept(tones: Sequence[Tone], tone: Tone, step: int) -> tuple[int, float] | None:
    """The bass below a tone, if it has the same letter before and after the tone's end.

    Looked for just there, else a little farther, for a bass that is broken up.
    """
    for far in (NEAR_UNITS / 2, min(BROKEN_UNITS, tone.length)):
        before = _below(tones, tone, (tone.end - far, tone.end - TINY), step)
        after = _below(tones, tone, (tone.end + TINY, tone.end + far), step)
        if before and after and (before[0] - after[0]) % PLACES == 0:
            return before
    return None


def _suspended(tone: Tone, tones: Sequence[Tone], step: int) -> list[Tone]:
    """Cut off the part of a tone that is a suspension (common practice).

    It was there before, grinds on a new bass and goes down a step while that bass stays.
    """
    bass = tone.bass
    if bass is None or -1 not in tone.after or (tone.place - bass[0]) % PLACES not in DISSONANT:
        return [tone]
    from_ = max(tone.start, bass[1])
    tied = bass[1] > tone.start + NEAR_UNITS
    if not tied and (0 not in tone.before or bass[1] < tone.start - NEAR_UNITS):
        return [tone]
    if _is_seventh(tones, (from_, tone.end), tone.place, bass[0], step):
        return [tone]
    late = replace(
        tone,
        start=from_,
        place=tone.place - 1,
        alters=(None,) * len(tone.alters),
        suspended=True,
        after=frozenset({0}),
    )
    if not tied:
        return [late]
    return [replace(tone, end=from_, after=frozenset(), bass=None), late]


def _is_seventh(
    tones: Sequence[Tone], span: tuple[float, float], place: int, bass: int, step: int
) -> bool:
    """Whether a seventh above a bass has the fifth beside it: a chord of its own (thoroughbass)."""
    if (place - bass) % PLACES != SEVENTH:
        return False
    return any(
        min(tone.end + lap, span[1]) - max(tone.start + lap, span[0]) > NEAR_UNITS
        for tone in tones
        for lap in LAPS
        if (tone.place + lap * step - bass) % PLACES == FIFTH
    )
