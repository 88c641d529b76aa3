"""Every run of links in a texture: each note compared with the one a lag before, for every lag.

This is the comparison that the listener makes while one plays (`sequence.lags`), with the same
costs. On paper time is exact, so an alignment can neither drift nor skip: for one lag and one step
the best path is the straight one, what it gained between two places is a difference of running
sums, and every place, every lag and every step can be looked at in one pass over arrays. (The
elastic table costs half a millisecond an onset; this one costs about ten microseconds.)

Conventions: a texture is a set of (onset, staff place), doublings counted once, grace notes left
out. Times are whole ticks, `ticks` of them to a quarter. Links are windows [w, w + unit) that begin
with an onset. `exact` is F1 between the notes of a link, moved by the step, and those of the next.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

import numpy as np
from numpy.typing import NDArray

from livecont.music.score import ScoreNote
from livecont.sequence.costs import COSTS, Costs

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

# units are counted in these parts of a quarter; thirds only where there are notes on thirds
GRID = 4
TRIPLET_GRID = 3
# finer rhythms than this are drawn to it
MOST_TICKS = 2**20
PLACES = 160  # staff places, C0 = 0, with room for steps beyond the keyboard
ROOM = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """Notes to be compared: `onset` and `place` by note, in order; `groups` by different onset.

    `first[g]` is the first note of group g, with one entry more than there are groups. `sound` is
    the pitch class, which tells a chromatic step from a repeated note.
    """

    ticks: int
    onset: Ints
    place: Ints
    sound: Ints
    group: Ints
    groups: Ints
    first: Ints
    played: Bools  # (groups, PLACES)

    def __len__(self) -> int:
        return len(self.onset)

    def note_at(self, at: Ints | int) -> Ints:
        """Return the number of the first note at or after a tick."""
        return np.asarray(self.first[np.searchsorted(self.groups, at)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Links, each the image of the one before: `start` and `unit` in ticks.

    `exact` has F1 of every link with the next, so one entry less than there are links. `gain` is
    how much likelier (nats) the links are as images than as unrelated music.
    """

    start: int
    unit: int
    step: int
    exact: tuple[float, ...]
    gain: float

    @property
    def links(self) -> int:
        """How many links."""
        return len(self.exact) + 1

    @property
    def end(self) -> int:
        """Where the last link ends."""
        return self.start + self.links * self.unit

    @property
    def strict(self) -> bool:
        """Whether every note has its image."""
        return min(self.exact) == 1.0


def ticks_of(notes: Iterable[ScoreNote]) -> int:
    """Return how many ticks a quarter needs, for every onset to be a whole number of them."""
    ticks = lcm(GRID, *{note.onset_q.denominator for note in notes})
    return ticks if ticks <= MOST_TICKS else lcm(GRID, TRIPLET_GRID) * 840


def texture_of(notes: Iterable[ScoreNote], ticks: int) -> Texture:
    """Return the texture of some notes, in any order."""
    points = {
        (
            note.onset_q.numerator * ticks // note.onset_q.denominator,
            min(max(note.spelling.staff + ROOM, 0), PLACES - 1),
        ): note.spelling.midi % 12
        for note in notes
        if not note.grace
    }
    ordered = sorted(points)
    onset = np.array([at for at, _ in ordered], dtype=np.int64)
    place = np.array([place for _, place in ordered], dtype=np.int64)
    groups, first, group = np.unique(onset, return_index=True, return_inverse=True)
    played = np.zeros((len(groups), PLACES), dtype=bool)
    played[group, place] = True
    return Texture(
        ticks=ticks,
        onset=onset,
        place=place,
        sound=np.array([points[point] for point in ordered], dtype=np.int64),
        group=group.astype(np.int64),
        groups=groups,
        first=np.append(first, len(ordered)).astype(np.int64),
        played=played,
    )


def units_of(texture: Texture, shortest_q: Fraction, longest_q: Fraction) -> tuple[int, ...]:
    """Return the units to look for, in ticks, rising."""
    grids = [GRID]
    if texture.ticks % TRIPLET_GRID == 0:
        grids.append(TRIPLET_GRID)
    found = {
        texture.ticks * parts // grid
        for grid in grids
        for parts in range(1, int(longest_q * grid) + 1)
        if Fraction(parts, grid) >= shortest_q
    }
    return tuple(sorted(found))


@dataclass(frozen=True, slots=True, kw_only=True)
class Least:
    """What makes a link, and a run of them."""

    exact: float
    links: int
    notes: int = 4  # in a link [trade]
    onsets: int = 2


def all_steps(costs: Costs = COSTS) -> tuple[int, ...]:
    """Return the steps that make a sequence: repeating in place is none."""
    return tuple(step for step in range(-costs.widest_step, costs.widest_step + 1) if step)


def runs(
    texture: Texture,
    units: Sequence[int],
    least: Least,
    steps: Sequence[int] = all_steps(),
    costs: Costs = COSTS,
) -> Iterator[Run]:
    """Yield every run, of every phase, that can't be made longer at either end.

    Cost: notes x units x steps, a few array operations each.
    """
    if len(texture) < least.notes * least.links:
        return
    for unit in units:
        lag = _Lag(texture, unit, least)
        if not lag.possible.any():
            continue
        for step in steps:
            yield from lag.runs(step, least, costs)


class _Lag:
    """All windows of one unit, and the groups that lie a unit apart."""

    def __init__(self, texture: Texture, unit: int, least: Least) -> None:
        self._texture, self._unit = texture, unit
        groups, first = texture.groups, texture.first
        count = len(groups)
        at = np.searchsorted(groups, groups + unit)
        end = np.searchsorted(groups, groups + 2 * unit)
        there = at < count
        there[there] = groups[at[there]] == groups[there] + unit
        self._next = np.where(there, at, -1)
        self._begin, self._middle = first[:count], first[at]
        self._earlier = self._middle - self._begin
        self._later = first[end] - self._middle
        self.possible = (
            there & (self._earlier >= least.notes) & (at - np.arange(count) >= least.onsets)
        )
        # the notes whose onset has one a unit later, and the group of that
        self._image = self._next[texture.group]
        self._imaged = self._image >= 0

    def runs(self, step: int, least: Least, costs: Costs) -> Iterator[Run]:
        matched = self._matched(step)
        notes = self._earlier + self._later
        good = self.possible & (2 * matched >= least.exact * notes)
        if not good.any():
            return
        exact = 2 * matched / np.maximum(notes, 1)
        gain = costs.match * matched - costs.unmatched * (notes - 2 * matched)
        following = set(self._next[good].tolist())
        for group in np.flatnonzero(good).tolist():
            if group not in following:  # else it is inside a longer run
                run = self._run(group, good, exact, gain, step)
                if run.links >= least.links:
                    yield run

    def _matched(self, step: int) -> Ints:
        """How many notes of each window have their image in the next."""
        texture = self._texture
        places = texture.place + step
        image = np.zeros(len(texture), dtype=bool)
        inside = self._imaged & (places >= 0) & (places < PLACES)
        image[inside] = texture.played[self._image[inside], places[inside]]
        summed = np.concatenate(((0,), np.cumsum(image)))
        return np.asarray(summed[self._middle] - summed[self._begin], dtype=np.int64)

    def _run(self, group: int, good: Bools, exact: Floats, gain: Floats, step: int) -> Run:
        start = int(self._texture.groups[group])
        exacts, gained = [], 0.0
        while group >= 0 and good[group]:
            exacts.append(float(exact[group]))
            gained += float(gain[group])
            group = int(self._next[group])
        return Run(start=start, unit=self._unit, step=step, exact=tuple(exacts), gain=gained)


def explained(texture: Texture, run: Run, unit: int, step: int) -> float:
    """Return the share of a run's notes (but the first unit's) that another lag and step explain.

    0..1, as F1 over the whole stretch.
    """
    begin, end = int(texture.note_at(run.start)), int(texture.note_at(run.end))
    onset, place = texture.onset[begin:end], texture.place[begin:end]
    known = set(zip(onset.tolist(), place.tolist(), strict=True))
    earlier = [(at, where) for at, where in known if at + unit < run.end]
    later = sum(1 for at, _ in known if at >= run.start + unit)
    matched = sum((at + unit, where + step) in known for at, where in earlier)
    return 2 * matched / max(1, len(earlier) + later)
