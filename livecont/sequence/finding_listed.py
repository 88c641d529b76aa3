"""Finds as they are listed: with bars and beats, and what a line of JSON says of them.

Conventions: bars as printed; beats are counted in what the metre's lower number names, 1 is the
bar's first. A place where something ends is named as the next thing's beginning would be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from livecont.music.score import Bar, Place, Score
from livecont.sequence.finding import Find

SOME = " + "


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A find and its places; `number` is its own in its piece, from 0."""

    number: int
    find: Find
    start: Place
    end: Place
    off: Place
    last_bar_beats: Fraction  # as many are counted up to the end of the bar where it ends
    unit_beats: Fraction
    bar_q: Fraction  # the length of a full bar where it starts
    inside: tuple[Find, ...] = ()  # what repeats itself inside it, the first of each motion

    @property
    def parts(self) -> str:
        """Who takes part, in one text."""
        return SOME.join(self.find.parts)


def listed(score: Score, finds: Sequence[Find]) -> tuple[Listed, ...]:
    """Return the finds of a piece as they are listed, in their order."""
    result = []
    for number, find in enumerate(finds):
        meter = score.meter_at(find.start_q)
        motions: dict[tuple[Fraction, int], Find] = {}
        for index in find.inner:
            inner = finds[index]
            if inner.unit_q < find.unit_q:
                motions.setdefault((inner.unit_q, inner.step_degrees), inner)
        result.append(
            Listed(
                number=number,
                find=find,
                start=score.place(find.start_q),
                end=_end(score, find),
                off=score.place(find.break_off.at_q),
                last_bar_beats=_beats(score, _last_bar(score, find)),
                unit_beats=find.unit_q / meter.beat_q,
                bar_q=meter.bar_q,
                inside=tuple(motions.values()),
            )
        )
    return tuple(result)


def _last_bar(score: Score, find: Find) -> Bar:
    """The bar in which the last link ends, though the next bar may begin there."""
    index = score.bar_index(find.end_q)
    if find.end_q == score.bars[index].start_q and index:
        index -= 1
    return score.bars[index]


def _end(score: Score, find: Find) -> Place:
    """Where the last link ends, in its own bar."""
    bar = _last_bar(score, find)
    if find.end_q != bar.end_q:
        return score.place(find.end_q)
    return Place(bar=bar.number, beat=_beats(score, bar) + 1)


def _beats(score: Score, bar: Bar) -> Fraction:
    """How many beats are counted up to a bar's end."""
    meter = score.meter_at(bar.start_q)
    return (meter.bar_q if bar.pickup else bar.length_q) / meter.beat_q


def as_json(file: str, one: Listed) -> dict[str, Any]:
    """Return a find as an object for JSON; its fields are documented in the README."""
    find = one.find
    return {
        "file": file,
        "start_bar": one.start.bar,
        "start_beat": round(float(one.start.beat), 6),
        "end_bar": one.end.bar,
        "end_beat": round(float(one.end.beat), 6),
        "start_q": round(float(find.start_q), 6),
        "end_q": round(float(find.end_q), 6),
        "links": find.links,
        "unit_quarters": round(float(find.unit_q), 6),
        "unit_beats": round(float(one.unit_beats), 6),
        "step_degrees": find.step_degrees,
        "shift_semitones": find.shift_semitones,
        "kind": find.kind.value,
        "key": find.key.name,
        "label": find.label,
        "alternatives": list(find.alternatives),
        "doubt": find.doubt,
        "parts": one.parts,
        "exact": [round(value, 3) for value in find.exact],
        "breaks_off": {
            "bar": one.off.bar,
            "beat": round(float(one.off.beat), 6),
            "q": round(float(find.break_off.at_q), 6),
            "how": find.break_off.how.value,
            "kept": round(find.break_off.kept, 3),
        },
        "links_left": find.left,
        "number": one.number,
        "within": find.within,
    }
