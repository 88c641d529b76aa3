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

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction

from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.music.score import Score, ScoreNote
from livecont.sequence.finding_choice import best_phases, meaningful, metrical_weight
from livecont.sequence.finding_lags import Least, Run, Texture, runs, texture_of, ticks_of, units_of
from livecont.sequence.finding_merge import (
    CHAIN,
    Sighting,
    container,
    everyone,
    merged,
    resolved,
)
from livecont.sequence.finding_pattern import before, key_near, links_left, pattern_of
from livecont.sequence.finding_textures import Everyone, Who, names_of, taking_part, textures
from livecont.sequence.pattern import Kind, Pattern

SHORTEST_Q = Fraction(3, 4)
LONGEST_Q = Fraction(8)  # two bars of 4/4


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
    ticks = ticks_of(score.notes)
    least = Least(exact=search.least_exact, links=search.least_links)
    weight = _metre(score, ticks)
    seen = []
    for who, notes in textures(score, search.part, search.staff):
        texture = texture_of(notes, ticks)
        units = units_of(texture, search.shortest_q, search.longest_q)
        kept = [r for r in runs(texture, units, least) if _counts(texture, r, search)]
        phases = best_phases(kept, weight)
        seen.append((who, resolved([r for r in phases if meaningful(texture, r, least, phases)])))
    sightings = merged(seen)
    if search.within_q is not None:
        start_q, end_q = search.within_q
        sightings = [
            s for s in sightings if s.run.start < end_q * ticks and s.run.end > start_q * ticks
        ]
    sightings.sort(key=lambda s: (s.run.start, s.run.start - s.run.end, s.who))
    finds = [_find(score, sighting, ticks, search) for sighting in sightings]
    return _nested(finds, sightings)


def _counts(texture: Texture, run: Run, search: Search) -> bool:
    """Whether a run is long enough, or a pair good enough."""
    if run.links >= CHAIN:
        return True
    at = [int(texture.note_at(run.start + k * run.unit)) for k in range(3)]
    return run.strict and min(at[1] - at[0], at[2] - at[1]) >= search.pair_notes


def _metre(score: Score, ticks: int):  # type: ignore[no-untyped-def]
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


def _find(score: Score, sighting: Sighting, ticks: int, search: Search) -> Find:
    run = sighting.run
    start_q, unit_q = Fraction(run.start, ticks), Fraction(run.unit, ticks)
    end_q = start_q + run.links * unit_q
    who = Everyone if everyone(sighting.who, score.within(start_q, end_q)) else sighting.who
    who = tuple(sorted(set(who), key=lambda one: (one.part, one.staff or 0, one.voice or 0)))
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
    if kept >= 0.5:
        how = Off.VARIED
    else:
        how = Off.LEFT if at_q > end_q else Off.OTHER
    return BreakOff(at_q=at_q, how=how, kept=kept)


def _nested(finds: Sequence[Find], sightings: Sequence[Sighting]) -> tuple[Find, ...]:
    within = [container(sighting, sightings) for sighting in sightings]
    return tuple(
        replace(
            find,
            within=within[number],
            inner=tuple(i for i, outer in enumerate(within) if outer == number),
        )
        for number, find in enumerate(finds)
    )
