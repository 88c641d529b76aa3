"""Finding every sequence in a piece: the comparison of the listener, given score time.

Looked through are the whole texture, every part, every staff and, where a staff has several, every
voice, each by itself. What moves alike at one place is one find, with the parts that take part. The
longest meaningful chain comes first; what repeats itself inside it by a shorter unit is told as its
inner pattern.

Conventions: as in `finding_values`; links begin with an onset. Pure: the same score gives the same
finds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

from livecont.music.score import Score
from livecont.sequence.finding_choice import (
    CHAIN,
    Weight,
    best_phases,
    meaningful,
    metrical_weight,
)
from livecont.sequence.finding_lags import Least, Run, Texture, runs, texture_of, ticks_of, units_of
from livecont.sequence.finding_merge import containers, merged, resolved
from livecont.sequence.finding_textures import Who, taking_part, textures
from livecont.sequence.finding_told import pairs_in, pattern_in, told_of
from livecont.sequence.finding_values import BreakOff, Find, Off, Search

__all__ = [
    "BreakOff",
    "Find",
    "Off",
    "Search",
    "find_sequences",
    "pairs_in",
    "pattern_in",
]


def find_sequences(score: Score, search: Search) -> tuple[Find, ...]:
    """Return the sequences of a piece, by place, the longer first where they begin together."""
    hunt = _Hunt(score, search)
    sightings = merged(
        (
            (who, hunt.in_texture(texture_of(notes, hunt.ticks)))
            for who, notes in textures(score, search.part, search.staff)
        ),
        hunt.joint,
        hunt.ticks,
    )
    if search.within_q is not None:
        start, end = (at_q * hunt.ticks for at_q in search.within_q)
        sightings = [s for s in sightings if s.run.start < end and s.run.end > start]
    sightings.sort(key=lambda s: (s.run.start, s.run.start - s.run.end, s.who))
    within = containers(sightings, hunt.ticks)
    finds = [
        told_of(score, sighting.run, sighting.who, hunt.ticks, search.compass)
        for sighting in sightings
    ]
    return _nested(finds, within)


class _Hunt:
    """A search in a piece: what all its textures share."""

    def __init__(self, score: Score, search: Search) -> None:
        self._score, self._search = score, search
        self.ticks = ticks_of(score.notes)
        self._least = Least(exact=search.least_exact, links=search.least_links)
        self._weight = _metre(score, self.ticks)

    def in_texture(self, texture: Texture) -> list[Run]:
        """Return the sequences of a texture, the weightiest first."""
        search = self._search
        units = units_of(texture, search.shortest_q, search.longest_q)
        return resolved(self._best(texture, runs(texture, units, self._least)), self.ticks)

    def joint(self, who: tuple[Who, ...], start: int, end: int, like: Run) -> Run | None:
        """Return the best run of some players between two ticks, by the motion of another."""
        near = self._score.within(Fraction(start, self.ticks), Fraction(end, self.ticks))
        texture = texture_of(taking_part(near, who), self.ticks)
        found = runs(texture, (like.unit,), self._least, (like.step,))
        return next(iter(self._best(texture, found)), None)

    def _best(self, texture: Texture, found: Iterable[Run]) -> list[Run]:
        counting = [run for run in found if _counts(self._score, texture, run, self._search)]
        return meaningful(texture, best_phases(counting, self._weight, self.ticks), self._least)


def _counts(score: Score, texture: Texture, run: Run, search: Search) -> bool:
    """Whether a run is long enough, a pair good enough, and the unit one that the metre knows."""
    if run.links > CHAIN:
        return True
    start_q = Fraction(run.start, texture.ticks)
    beat_q = min(score.meter_at(start_q).beat_q, Fraction(1))
    unit_q = Fraction(run.unit, texture.ticks)
    if run.links == CHAIN:
        return (unit_q / (beat_q / 2 if run.strict else beat_q)).denominator == 1
    at = [int(texture.note_at(run.start + k * run.unit)) for k in range(3)]
    enough = min(at[1] - at[0], at[2] - at[1]) >= search.pair_notes
    return run.strict and enough and (unit_q / beat_q).denominator == 1


def _metre(score: Score, ticks: int) -> Weight:
    bars, beats = set(), set()
    for bar in score.bars:
        beat_q = score.meter_at(bar.start_q).beat_q
        bars.add(int(bar.start_q * ticks))
        count = int(bar.length_q / beat_q)
        for number in range(count + 1):
            at_q = bar.end_q - number * beat_q if bar.pickup else bar.start_q + number * beat_q
            beats.add(int(at_q * ticks))
    return metrical_weight(frozenset(bars), frozenset(beats))


def _nested(finds: Sequence[Find], within: Sequence[int | None]) -> tuple[Find, ...]:
    inner: dict[int, list[int]] = {}
    for number, outer in enumerate(within):
        if outer is not None:
            inner.setdefault(outer, []).append(number)
    return tuple(
        replace(find, within=within[number], inner=tuple(inner.get(number, ())))
        for number, find in enumerate(finds)
    )
