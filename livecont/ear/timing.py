"""How an answer lies in time: its start, its tempo, what is off, where the rhythm is another one.

Conventions: a chord's moment is the median of its notes' onsets; offs are seconds from the line of
the player's own tempo, late is positive. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

import numpy as np
import numpy.typing as npt

from livecont.ear.following import DueChord
from livecont.ear.matching import Pairing
from livecont.ear.tolerance import Tolerance
from livecont.sequence.events import Note

FEWEST_FOR_DRIFT = 5  # chords, from which on a tempo that drifts can be told from unevenness
LEAST_APART_S = 0.02
STEADY_TEMPO = (0.25, 4.0)
LEAST_TOLD_S = 0.04  # a melody leads by some 30 ms (Goebl 2001): no fault

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """An answer's time; `off_s` and `told` per due note, `uneven` indices of due notes."""

    start_s: float | None
    tempo: float | None
    off_s: tuple[float | None, ...]
    told: frozenset[int]
    uneven: tuple[int, ...]


def timed(
    chords: Sequence[DueChord], pairing: Pairing, played: Sequence[Note], tolerance: Tolerance
) -> Timed:
    """Return how an answer lies in time."""
    count = len(pairing.played_for)
    moments = [_moment(chord, pairing, played) for chord in chords]
    known = [(chord.offset_s, t) for chord, t in zip(chords, moments, strict=True) if t is not None]
    if not known:
        return Timed(start_s=None, tempo=None, off_s=(None,) * count, told=frozenset(), uneven=())
    offsets = np.array([offset_s for offset_s, _ in known])
    times = np.array([at_s for _, at_s in known])
    line, slope = _line(offsets, times), _slope(offsets, times)
    off_s: list[float | None] = [None] * count
    told: set[int] = set()
    for g, chord in enumerate(chords):
        apart_s = slope * _apart_s(chords, g)
        for i in chord.members:
            j = pairing.played_for[i]
            if j is not None:
                off = played[j].onset_s - float(np.polyval(line, chord.offset_s))
                off_s[i] = off
                if abs(off) > max(tolerance.told * tolerance.noticeable_s(apart_s), LEAST_TOLD_S):
                    told.add(i)
    return Timed(
        start_s=float(times[0]),
        tempo=slope,
        off_s=tuple(off_s),
        told=frozenset(told),
        uneven=_uneven(chords, moments, line, tolerance),
    )


def _uneven(
    chords: Sequence[DueChord],
    moments: Sequence[float | None],
    line: Floats,
    tolerance: Tolerance,
) -> tuple[int, ...]:
    """Where the time since the chord before is another note value."""
    pace = np.polyder(line)
    found = [(chord, at_s) for chord, at_s in zip(chords, moments, strict=True) if at_s is not None]
    uneven = []
    for (one, before_s), (two, after_s) in pairwise(found):
        tempo = max(float(np.polyval(pace, (one.offset_s + two.offset_s) / 2)), STEADY_TEMPO[0])
        due_s = (two.offset_s - one.offset_s) * tempo
        if _other_rhythm(after_s - before_s, due_s, tolerance):
            uneven.append(two.members[0])
    return tuple(uneven)


def _other_rhythm(gone_s: float, due_s: float, tolerance: Tolerance) -> bool:
    if abs(gone_s - due_s) <= tolerance.least_off_s:
        return False
    ratio = max(gone_s, LEAST_APART_S) / max(due_s, LEAST_APART_S)
    return not 1 / tolerance.other_rhythm <= ratio <= tolerance.other_rhythm


def _moment(chord: DueChord, pairing: Pairing, played: Sequence[Note]) -> float | None:
    onsets = [played[j].onset_s for i in chord.members if (j := pairing.played_for[i]) is not None]
    return median(onsets) if onsets else None


def _apart_s(chords: Sequence[DueChord], g: int) -> float:
    gaps = [
        abs(chords[n].offset_s - chords[g].offset_s) for n in (g - 1, g + 1) if 0 <= n < len(chords)
    ]
    return min(gaps, default=1.0)


def _slope(offsets: Floats, times: Floats) -> float:
    if len(offsets) < 2 or offsets[-1] <= offsets[0]:
        return 1.0
    least, most = STEADY_TEMPO
    return float(np.clip(np.polyfit(offsets, times, 1)[0], least, most))


def _line(offsets: Floats, times: Floats) -> Floats:
    """The player's own time: a straight line, bent where there is enough to tell drift by."""
    if len(offsets) < 2 or offsets[-1] <= offsets[0]:
        return np.array([1.0, times[0] - offsets[0]])
    degree = 2 if len(offsets) >= FEWEST_FOR_DRIFT else 1
    return np.polyfit(offsets, times, degree)
