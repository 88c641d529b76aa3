"""Where an answer is in the link that is due: when each of its chords was played.

A musician who follows a pupil goes by the notes, not by the seconds. So the pitches decide, in
order, and tempo only where they leave it open: dynamic programming over the due chords and the
moments at which something was struck. A chord that has no note to go by is passed over.

Conventions: due chords by offset, seconds from the link's start; played notes by onset. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from livecont.sequence.events import Note
from livecont.sequence.pattern import LinkNote

TOGETHER_S = 0.035  # due notes so near are one chord: half of what order can be told by (60 ms)
SPREAD_S = 0.09  # notes of one chord are looked for so far from its moment
OCTAVE_SUPPORT = 0.6  # of a note, for one at the octave
PASSED_OVER = 0.9  # cost of a chord that is not to be found
MOST_PASSED_OVER = 4
UNEVEN = 0.45  # cost of a time between two chords that is e times as long as due
LEAST_STEP_S = 0.004
NOTHING = -1e9

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DueChord:
    """Notes due together: which of the link's, and when."""

    offset_s: float
    members: tuple[int, ...]


def chords_of(notes: Sequence[LinkNote]) -> tuple[DueChord, ...]:
    """Return the chords of a link's notes, as indices into `notes`."""
    order = sorted(range(len(notes)), key=lambda i: (notes[i].offset_s, notes[i].pitch))
    found: list[list[int]] = []
    for i in order:
        if found and notes[i].offset_s - notes[found[-1][0]].offset_s <= TOGETHER_S:
            found[-1].append(i)
        else:
            found.append([i])
    return tuple(
        DueChord(sum(notes[i].offset_s for i in members) / len(members), tuple(members))
        for members in found
    )


def follow(
    chords: Sequence[DueChord], notes: Sequence[LinkNote], played: Sequence[Note]
) -> tuple[float | None, ...]:
    """Return when each chord was played, rising; None where it is not to be found."""
    if not chords or not played:
        return (None,) * len(chords)
    times = np.array(sorted({note.onset_s for note in played}))
    support = _support(chords, notes, played, times)
    best = np.full((len(chords), len(times)), NOTHING)
    came: dict[tuple[int, int], tuple[int, int]] = {}
    for g, chord in enumerate(chords):
        opening = -PASSED_OVER * g
        best[g] = support[g] + opening
        for back in range(1, min(g, MOST_PASSED_OVER + 1) + 1):
            before = g - back
            due_s = max(chord.offset_s - chords[before].offset_s, LEAST_STEP_S)
            through = _through(times, due_s) + best[before][:, None] - PASSED_OVER * (back - 1)
            source = through.argmax(axis=0)
            gained = through[source, np.arange(len(times))] + support[g]
            for j in np.flatnonzero(gained > best[g]):
                best[g, j] = gained[j]
                came[g, int(j)] = (before, int(source[j]))
    return _trace(best, came, times)


def _support(
    chords: Sequence[DueChord],
    notes: Sequence[LinkNote],
    played: Sequence[Note],
    times: Floats,
) -> Floats:
    """How much of each chord is struck at each moment, 0..1; nothing at all costs."""
    pitches = np.array([note.pitch for note in played])
    onsets = np.array([note.onset_s for note in played])
    near = np.abs(onsets[None, :] - times[:, None]) <= SPREAD_S
    # where notes are fast, those of the chord itself lie nearest
    nearness = np.where(near, 1.0 - 0.5 * np.abs(onsets[None, :] - times[:, None]) / SPREAD_S, 0.0)
    result = np.zeros((len(chords), len(times)))
    for g, chord in enumerate(chords):
        for i in chord.members:
            away = pitches - notes[i].pitch
            worth = np.where(away == 0, 1.0, np.where(away % 12 == 0, OCTAVE_SUPPORT, 0.0))
            result[g] += (nearness * worth[None, :]).max(axis=1)
        result[g] /= len(chord.members)
    return np.where(result > 0, result, -PASSED_OVER)


def _through(times: Floats, due_s: float) -> Floats:
    """What it costs to come from each moment to each later one."""
    gone = times[None, :] - times[:, None]
    uneven = np.abs(np.log(np.maximum(gone, LEAST_STEP_S) / due_s))
    return np.where(gone > 0, -UNEVEN * uneven, NOTHING)


def _trace(
    best: Floats, came: dict[tuple[int, int], tuple[int, int]], times: Floats
) -> tuple[float | None, ...]:
    count = len(best)
    ends = best - PASSED_OVER * (count - 1 - np.arange(count))[:, None]
    g, j = divmod(int(ends.argmax()), len(times))
    found: list[float | None] = [None] * count
    at: tuple[int, int] | None = (g, j)
    while at is not None:
        found[at[0]] = float(times[at[1]])
        at = came.get(at)
    return tuple(found)
