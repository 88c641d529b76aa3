"""Finding every sequence in a piece: the comparison of the listener, given score time.

Looked through are the whole texture, every part, every staff and, where a staff has several, every
voice, each by itself. What moves alike at one place is one find, with the parts that take part. The
longest meaningful chain comes first; what repeats itself inside it by a shorter unit is told as its
inner pattern.

Conventions: `*_q` are quarters as in `music.score`; links begin with an onset; `exact` is F1
between the notes (onset, staff place) of one link, moved by the step, and those of the next: 1.0
for a copy without a flaw. Pure: the same score gives the same finds.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.music.score import Score
from livecont.sequence.finding_choice import Weight, best_phases, meaningful, metrical_weight
from livecont.sequence.finding_lags import Least, Run, Texture, runs, texture_of, ticks_of, units_of
from livecont.sequence.finding_merge import (
    CHAIN,
    Sighting,
    containers,
    everyone,
    merged,
    resolved,
)
from livecont.sequence.finding_pattern import (
    Pair,
    before,
    key_near,
    links_left,
    pairs_of,
    pattern_of,
)
from livecont.sequence.finding_textures import Everyone, Who, names_of, taking_part, textures
from livecont.sequence.pattern import Kind, Pattern

SHORTEST_Q = Fraction(3, 4)
LONGEST_Q = Fraction(8)  # two bars of 4/4
VARIED = 0.5  # F1 of what follows with what the next link would have


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What is looked for, and where.

    `least_links` 2 takes pairs in, which then have to be copies without a flaw, of
    `pair_notes` notes a link at least; longer chains need `least_exact` from link to link. Units
    lie from `shortest_q` to `longest_q`. `part` counts from 0, `staff` from 1; `within_q` keeps
    what touches a stretch. `compass` is the instrument that the links left are counted for.
    """

    compass: Compass
    least_links: int = 2
    least_exact: float = 0.85
    pair_notes: int = 6
    shortest_q: Fraction = SHORTEST_Q
    longest_q: Fraction = LONGEST_Q
    part: int | None = None
    staff: int | None = None
    within_q: tuple[Fraction, Fraction] | None = None


class Off(StrEnum):
    """How a chain breaks off."""

    VARIED = "varied"  # it goes on, but not exactly
    LEFT = "left"  # it begins another link and leaves it
    OTHER = "other"  # other music follows
    END = "end"  # the piece, or the part, ends


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakOff:
    """Where the first note departs from what the next link would have; `kept` is F1 with that."""

    at_q: Fraction
    how: Off
    kept: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Find:
    """A sequence on paper.

    `exact` tells of every copy how well it is the image of the link before it. `who` takes part,
    all where it is empty; `parts` are their names. `left` counts the links that could still follow
    on the compass asked for. `within` is the number, in the tuple of finds, of a longer sequence
    that this one is a part of, or whose inner pattern it is; `inner` are the numbers of those in
    this one. `label` is None where none was worked out.
    """

    start_q: Fraction
    unit_q: Fraction
    links: int
    step_degrees: int
    shift_semitones: int | None
    kind: Kind
    key: Key
    label: str | None
    who: tuple[Who, ...]
    parts: tuple[str, ...]
    exact: tuple[float, ...]
    break_off: BreakOff
    left: int
    within: int | None = None
    inner: tuple[int, ...] = ()

    @property
    def end_q(self) -> Fraction:
        """Where the last link ends."""
        return self.start_q + self.links * self.unit_q

    @property
    def mean_exact(self) -> float:
        """How exact the copies are on the whole."""
        return sum(self.exact) / len(self.exact)


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
    return _nested([hunt.find(sighting) for sighting in sightings], within)


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

    def find(self, sighting: Sighting) -> Find:
        """Return all there is to tell of a sighting."""
        return _find(self._score, sighting, self.ticks, self._search)


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


def pattern_in(score: Score, find: Find) -> Pattern:
    """Return a find as the pattern that the live engine carries on."""
    end_q = find.end_q
    notes = taking_part(score.within(find.start_q, end_q), find.who)
    heard = tuple(score.within(max(Fraction(0), find.start_q - 16), end_q - 2 * find.unit_q))
    return pattern_of(
        notes,
        start_q=find.start_q,
        unit_q=find.unit_q,
        links=find.links,
        step=find.step_degrees,
        key=find.key,
        before=before(heard, end_q - 2 * find.unit_q),
    )


def pairs_in(score: Score, find: Find) -> tuple[Pair, ...]:
    """Return the notes of a find's last two links, paired: one for each position of `pattern_in`.

    They tell which part, staff and voice a position of the pattern belongs to.
    """
    early_q = find.end_q - 2 * find.unit_q
    notes = taking_part(score.within(early_q, find.end_q), find.who)
    return pairs_of(notes, early_q, find.unit_q, find.step_degrees)


def _find(score: Score, sighting: Sighting, ticks: int, search: Search) -> Find:
    run = sighting.run
    start_q, unit_q = Fraction(run.start, ticks), Fraction(run.unit, ticks)
    end_q = start_q + run.links * unit_q
    who = Everyone if everyone(sighting.who, score.within(start_q, end_q)) else sighting.who
    found = Find(
        start_q=start_q,
        unit_q=unit_q,
        links=run.links,
        step_degrees=run.step,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=key_near(score, start_q, end_q),
        label=None,
        who=who,
        parts=names_of(score, who),
        exact=run.exact,
        break_off=_break_off(score, who, end_q, unit_q, run.step),
        left=0,
    )
    pattern = pattern_in(score, found)
    return replace(
        found,
        shift_semitones=pattern.shift_semitones,
        kind=pattern.kind,
        left=links_left(pattern, search.compass),
    )


def _break_off(
    score: Score, who: tuple[Who, ...], end_q: Fraction, unit_q: Fraction, step: int
) -> BreakOff:
    """Compare what follows the last link with the link that would have followed."""
    last = taking_part(score.within(end_q - unit_q, end_q), who)
    follows = taking_part(score.within(end_q, end_q + unit_q), who)
    due = {(n.onset_q + unit_q, n.spelling.staff + step) for n in last if not n.grace}
    came = {(n.onset_q, n.spelling.staff) for n in follows if not n.grace}
    if not came:
        return BreakOff(at_q=end_q, how=Off.END, kept=0.0)
    kept = 2 * len(due & came) / (len(due) + len(came))
    at_q = min((onset_q for onset_q, _ in due ^ came), default=end_q + unit_q)
    how = Off.LEFT if at_q > end_q else Off.OTHER
    if kept >= VARIED:
        how = Off.VARIED
    return BreakOff(at_q=at_q, how=how, kept=kept)


def _nested(finds: Sequence[Find], within: Sequence[int | None]) -> tuple[Find, ...]:
    inner: dict[int, list[int]] = {}
    for number, outer in enumerate(within):
        if outer is not None:
            inner.setdefault(outer, []).append(number)
    return tuple(
        replace(find, within=within[number], inner=tuple(inner.get(number, ())))
        for number, find in enumerate(finds)
    )
