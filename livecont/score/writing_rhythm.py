"""Note values: how what sounds from one place to another is written, with ties, dots and tuplets.

Conventions: places and lengths are exact quarters (`Fraction`) from the bar's metrical beginning,
which in a pickup lies before its first note. `periods` are the lengths that the bar is divided by,
longest first: a place is the stronger, the earlier in them stands a period that it is a multiple
of. Note values as in MusicXML 4.0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm

from livecont.music.score import Meter

NAMES = (
    "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th",
    "512th", "1024th",
)  # fmt: skip
BREVE_Q = Fraction(8)
MOST_DOTS = 2
SHORTEST_PERIOD_Q = Fraction(1, 64)
MOST_IN_TUPLET = 63
LONG_Q = Fraction(2)  # longer notes are tied into a tuplet, not held by one

_VALUES = {
    BREVE_Q / 2**power * (2 - Fraction(1, 2**dots)): (name, dots)
    for dots in range(MOST_DOTS, -1, -1)
    for power, name in enumerate(NAMES)
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuplet:
    """So many notes in the time of so many others, from a place to a place."""

    start_q: Fraction
    end_q: Fraction
    actual: int
    normal: int

    def inside(self, at_q: Fraction) -> Fraction:
        """Return a place in the time that its notes are written in, from the tuplet's start."""
        return (at_q - self.start_q) * self.actual / self.normal


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One written note or rest; `name` is None where no note value lasts so long."""

    start_q: Fraction
    length_q: Fraction
    name: str | None
    dots: int = 0
    tuplet: Tuplet | None = None

    @property
    def end_q(self) -> Fraction:
        """Where it ends."""
        return self.start_q + self.length_q


def periods_of(meter: Meter) -> tuple[Fraction, ...]:
    """Return what a bar is divided by, longest first.

    >>> [str(p) for p in periods_of(Meter(at_q=Fraction(0), beats=6, beat_type=8))][:4]
    ['3', '3/2', '1/2', '1/4']
    """
    found = [meter.bar_q]
    beat_q = meter.beat_q
    if meter.beats > 3 and meter.beats % 3 == 0 and meter.beat_type >= 8:
        beats = meter.beats // 3
        if beats % 2 == 0:
            found += [meter.bar_q / 2]
        found += [3 * beat_q, beat_q]
    else:
        if meter.beats % 4 == 0:
            found += [meter.bar_q / 2]
        found += [beat_q]
    while found[-1] > SHORTEST_PERIOD_Q:
        found.append(found[-1] / 2)
    return tuple(dict.fromkeys(found))


def plain_value(length_q: Fraction) -> tuple[str, int] | None:
    """Return name and dots of the note value that lasts so long, None where there is none.

    >>> plain_value(Fraction(3, 2)), plain_value(Fraction(5, 4))
    (('quarter', 1), None)
    """
    return _VALUES.get(length_q)


def values_of(
    start_q: Fraction,
    end_q: Fraction,
    periods: Sequence[Fraction],
    tuplets: Sequence[Tuplet] = (),
    *,
    rest: bool = False,
) -> tuple[Value, ...]:
    """Return what is written from a place to a place: one value, or several, to be tied.

    Args:
        start_q: where it begins.
        end_q: where it ends, after the beginning.
        periods: what the bar is divided by.
        tuplets: those of the bar, in order; none of them overlap.
        rest: rests hide no beat.
    """
    found: list[Value] = []
    at_q = start_q
    for tuplet in tuplets:
        if tuplet.end_q <= at_q or tuplet.start_q >= end_q:
            continue
        if tuplet.start_q > at_q:
            found += _plain(at_q, tuplet.start_q, periods, rest)
            at_q = tuplet.start_q
        until_q = min(end_q, tuplet.end_q)
        found += _in_tuplet(at_q, until_q, tuplet, rest)
        at_q = until_q
    if at_q < end_q:
        found += _plain(at_q, end_q, periods, rest)
    return tuple(found)


def _plain(
    start_q: Fraction, end_q: Fraction, periods: Sequence[Fraction], rest: bool
) -> list[Value]:
    result = []
    for a_q, b_q in _divided(start_q, end_q, periods, rest):
        name, dots = plain_value(b_q - a_q) or (None, 0)
        result.append(Value(start_q=a_q, length_q=b_q - a_q, name=name, dots=dots))
    return result


def _in_tuplet(start_q: Fraction, end_q: Fraction, tuplet: Tuplet, rest: bool) -> list[Value]:
    whole_q = tuplet.inside(tuplet.end_q)
    unit_q = whole_q / tuplet.actual
    periods = [whole_q, unit_q]
    while periods[-1] > SHORTEST_PERIOD_Q:
        periods.append(periods[-1] / 2)
    result = []
    back = Fraction(tuplet.normal, tuplet.actual)
    for a_q, b_q in _divided(tuplet.inside(start_q), tuplet.inside(end_q), periods, rest):
        name, dots = plain_value(b_q - a_q) or (None, 0)
        result.append(
            Value(
                start_q=tuplet.start_q + a_q * back,
                length_q=(b_q - a_q) * back,
                name=name,
                dots=dots,
                tuplet=tuplet,
            )
        )
    return result


def _divided(
    start_q: Fraction, end_q: Fraction, periods: Sequence[Fraction], rest: bool
) -> list[tuple[Fraction, Fraction]]:
    """Divide where the strongest place in between would be hidden, or where no value fits."""
    value = plain_value(end_q - start_q)
    at_q, strength = _strongest_inside(start_q, end_q, periods)
    if value is not None and (at_q is None or _may_hide(start_q, end_q, strength, periods, rest)):
        # a rest has a dot where that is a division of the bar, as in 6/8 (common practice)
        simple = not rest or value[1] == 0 or end_q - start_q in periods
        if simple and value[1] < MOST_DOTS:
            return [(start_q, end_q)]
    if at_q is None:
        return [(start_q, end_q)]
    return [
        *_divided(start_q, at_q, periods, rest),
        *_divided(at_q, end_q, periods, rest),
    ]


def _may_hide(
    start_q: Fraction, end_q: Fraction, strength: int, periods: Sequence[Fraction], rest: bool
) -> bool:
    """Whether a note may last over a place of some strength (common practice).

    It may where it begins on one as strong; else, in a syncopation, where it begins one degree
    weaker and ends at least so strong. Rests have to begin on one as strong.
    """
    begins = _strength(start_q, periods)
    if begins <= strength:
        return True
    return not rest and begins == strength + 1 and _strength(end_q, periods) <= begins


def _strength(at_q: Fraction, periods: Sequence[Fraction]) -> int:
    for index, period_q in enumerate(periods):
        if (at_q / period_q).denominator == 1:
            return index
    return len(periods)


def _strongest_inside(
    start_q: Fraction, end_q: Fraction, periods: Sequence[Fraction]
) -> tuple[Fraction | None, int]:
    """Return the strongest place inside, the first of several, and its strength."""
    for index, period_q in enumerate(periods):
        at_q = (start_q // period_q + 1) * period_q
        if at_q < end_q:
            return at_q, index
    return None, len(periods)


# --- tuplets ------------------------------------------------------------------------------------


def tuplets_of(
    bounds: Sequence[tuple[Fraction, Fraction, bool]], periods: Sequence[Fraction]
) -> tuple[Tuplet, ...]:
    """Return the tuplets that a row of notes and rests in a bar needs.

    A tuplet fills the shortest division of the bar that holds, whole, each note that needs it.

    Args:
        bounds: beginning and end of each note and rest, in order, none overlapping, and whether
            it is a rest: those are rather divided.
        periods: what the bar is divided by.

    >>> third = Fraction(1, 3)
    >>> [(t.actual, t.normal) for t in tuplets_of(
    ...     [(n * third, (n + 1) * third, False) for n in range(3)],
    ...     (Fraction(4), Fraction(2), Fraction(1), Fraction(1, 2)))]
    [(3, 2)]
    """
    spans: list[tuple[Fraction, Fraction]] = []
    for start_q, end_q, rest in bounds:
        spans += _homes(start_q, end_q, periods, rest)
    result = []
    for start_q, end_q in _merged(spans):
        places = (at_q for begin_q, over_q, _ in bounds for at_q in (begin_q, over_q))
        inside = [at_q for at_q in places if start_q <= at_q <= end_q]
        tuplet = _tuplet(start_q, end_q, inside)
        if tuplet is not None:
            result.append(tuplet)
    return tuple(result)


def _binary(at_q: Fraction) -> bool:
    return at_q.denominator & (at_q.denominator - 1) == 0


def _homes(
    start_q: Fraction, end_q: Fraction, periods: Sequence[Fraction], rest: bool
) -> list[tuple[Fraction, Fraction]]:
    """Return the divisions of the bar that have to be tuplets for a note's sake.

    It is that which holds the note whole; of a long note those of its ends, so that it is tied.
    """
    odd = [at_q for at_q in (start_q, end_q) if not _binary(at_q)]
    if not odd:
        return []
    home = _home(start_q, end_q, periods)
    parts = {_odd(at_q.denominator) for at_q in odd}
    whole = home[1] - home[0] <= LONG_Q or (len(odd) == 2 and not _binary(end_q - start_q))
    # thirds of quarters are ninths of a bar of three: no tuplet to be read
    inside = {_odd(((at_q - home[0]) / (home[1] - home[0])).denominator) for at_q in odd}
    whole = whole and inside == parts
    if not rest and whole and len(parts) == 1 and home[1] - home[0] <= periods[0]:
        return [home]
    return [_near(at_q, periods) for at_q in odd]


def _home(
    start_q: Fraction, end_q: Fraction, periods: Sequence[Fraction]
) -> tuple[Fraction, Fraction]:
    """The shortest division of the bar that holds a note; the bar where none does."""
    for period_q in reversed(periods):
        begin_q = start_q // period_q * period_q
        if end_q <= begin_q + period_q:
            return begin_q, begin_q + period_q
    begin_q = start_q // periods[0] * periods[0]
    return begin_q, begin_q + periods[0]


def _near(at_q: Fraction, periods: Sequence[Fraction]) -> tuple[Fraction, Fraction]:
    """The division of the bar in which a place is counted by the fewest."""
    period_q = min(
        (period_q for period_q in periods),
        key=lambda p: (_odd((at_q / p).denominator), max(p, 1 / p)),
    )
    begin_q = at_q // period_q * period_q
    return begin_q, begin_q + period_q


def _merged(spans: Sequence[tuple[Fraction, Fraction]]) -> list[tuple[Fraction, Fraction]]:
    merged: list[tuple[Fraction, Fraction]] = []
    for span in sorted(set(spans)):
        if merged and span[0] < merged[-1][1]:
            merged[-1] = merged[-1][0], max(merged[-1][1], span[1])
        else:
            merged.append(span)
    return merged


def _tuplet(start_q: Fraction, end_q: Fraction, inside: Sequence[Fraction]) -> Tuplet | None:
    length_q = end_q - start_q
    actual = _odd(lcm(*(((at_q - start_q) / length_q).denominator for at_q in inside)))
    if actual < 3 or actual > MOST_IN_TUPLET:
        return None
    base = _odd(length_q.numerator)
    normals = [base * 2**power for power in range(7)]
    normal = min(normals, key=lambda count: (abs(count - actual), count))
    smaller = [count for count in normals if count < actual]
    if smaller:
        normal = max(smaller)
    return Tuplet(start_q=start_q, end_q=end_q, actual=actual, normal=normal)


def _odd(number: int) -> int:
    """Return the number without its factors of two."""
    return number // (number & -number)


def lasts_whole(values: Sequence[Value]) -> bool:
    """Whether values follow each other without a gap."""
    return all(one.end_q == other.start_q for one, other in pairwise(values))
