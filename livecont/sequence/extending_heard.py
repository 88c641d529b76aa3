"""What was played, written down: a pattern that was heard as a passage on paper.

Playing has no beats written in it: the number of beats in a link, and what they are divided into,
are those that leave the least to be bent, in a pulse that is felt easily. Hands are told apart, and
a note lasts to the next one of its hand, if that comes soon.

Conventions: as in `extending_paper`; a beat is a quarter, or a dotted one where it has three parts
(common practice). Links are numbered from the first one known.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from livecont.music.score import Bar, Meter, Part, Score, ScoreNote, Signature
from livecont.sequence.endings_figure import figure_of
from livecont.sequence.endings_leading import LOWER, UPPER
from livecont.sequence.extending_paper import Passage, Template
from livecont.sequence.pattern import Pattern

BEATS = (1, 2, 3, 4, 5, 6, 8, 9, 12, 16)
DIVISIONS = (1, 2, 3, 4, 6, 8)
EASY_BPM = 84.0  # a pulse that is felt easily, common practice (andante)
BENT_S = 0.02  # as much is left to a player's fingers
FINER, BY_THREE = 0.25, 0.1  # what a finer division, and one by three, has to be worth
SYNCOPATED = 1.0  # times the share of notes as long as a beat that begin off it
HELD = 1.8  # times the way to the next note of the hand: that is held over it
_BARS = {1: 4, 2: 2, 3: 3, 4: 4, 5: 5, 6: 3, 8: 4, 9: 3, 12: 4, 16: 4}


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How a link is counted: so many beats, each in so many parts."""

    beats: int
    parts: int

    @property
    def compound(self) -> bool:
        """Whether the beat is a dotted quarter."""
        return self.parts == 3

    @property
    def beat_q(self) -> Fraction:
        """How long a beat is."""
        return Fraction(3, 2) if self.compound else Fraction(1)

    @property
    def cell_q(self) -> Fraction:
        """How long the smallest part is."""
        return self.beat_q / self.parts

    @property
    def cells(self) -> int:
        """How many of them a link has."""
        return self.beats * self.parts

    @property
    def meter(self) -> Meter:
        """A metre in which a link, or several, fill whole bars."""
        beats = _BARS[self.beats]
        if self.compound:
            return Meter(at_q=Fraction(0), beats=3 * beats, beat_type=8)
        return Meter(at_q=Fraction(0), beats=beats, beat_type=4)


def grid_of(pattern: Pattern) -> Grid:
    """Return how a link that was played is best counted."""

    def cost(grid: Grid) -> float:
        tempo = abs(math.log2(60.0 * grid.beats / pattern.unit_s / EASY_BPM))
        places = [position.offset_units * grid.cells for position in pattern.positions]
        bent = sum(abs(at - round(at)) for at in places) / max(1, len(places))
        bent_s = bent * pattern.unit_s / grid.cells
        finer = FINER * math.log2(grid.parts) + BY_THREE * (grid.parts % 3 == 0)
        return tempo + bent_s / BENT_S + finer + SYNCOPATED * _syncopated(pattern, grid)

    return min((Grid(beats=b, parts=p) for b in BEATS for p in DIVISIONS), key=cost)


def _syncopated(pattern: Pattern, grid: Grid) -> float:
    """The share of notes that last over a beat they do not begin on."""
    crossing = 0
    for position in pattern.positions:
        cell = round(position.offset_units * grid.cells)
        end = round((position.offset_units + position.articulation) * grid.cells)
        crossing += cell % grid.parts > 0 and end > (cell // grid.parts + 1) * grid.parts
    return crossing / max(1, len(pattern.positions))


def passage_of_pattern(pattern: Pattern) -> Passage:
    """Return a pattern that was heard as a passage on paper, quantised.

    Args:
        pattern: with at least two links in `heard`.
    """
    grid = grid_of(pattern)
    unit_q = grid.beats * grid.beat_q
    templates = _templates(pattern, grid)
    known = len(pattern.positions[0].heard) if pattern.positions else 0
    notes = []
    for link in range(known):
        for position, template in zip(pattern.positions, templates, strict=True):
            spelled = position.heard[link]
            if spelled is not None:
                notes.append(
                    ScoreNote(
                        onset_q=link * unit_q + template.offset_q,
                        duration_q=template.duration_q,
                        spelling=spelled,
                        staff=template.staff,
                        voice=template.voice,
                    )
                )
    notes.sort(key=lambda n: (n.onset_q, n.part, n.staff, n.voice, not n.grace, n.spelling.staff))
    staves = max((note.staff for note in notes), default=1)
    return Passage(
        score=Score(
            parts=(Part(name="", staves=staves),),
            notes=tuple(notes),
            bars=bars_until(grid.meter, Fraction(0), known * unit_q),
            meters=(grid.meter,),
            signatures=(signature_of(pattern),),
        ),
        start_q=Fraction(0),
        unit_q=unit_q,
        links=known,
        pattern=replace(pattern, links_heard=known),
        templates=templates,
    )


def bars_until(meter: Meter, start_q: Fraction, end_q: Fraction) -> tuple[Bar, ...]:
    """Return whole bars from a place on that hold everything up to another."""
    bars: list[Bar] = []
    while start_q < end_q or not bars:
        bars.append(Bar(number=str(len(bars) + 1), start_q=start_q, length_q=meter.bar_q))
        start_q += meter.bar_q
    return tuple(bars)


def signature_of(pattern: Pattern) -> Signature:
    """Return the signature of a pattern's key."""
    mode = pattern.key.mode if pattern.key.mode in ("major", "minor") else None
    return Signature(at_q=Fraction(0), fifths=pattern.key.fifths, mode=mode)


def _templates(pattern: Pattern, grid: Grid) -> tuple[Template, ...]:
    hands = {tone.index: tone.part for tone in figure_of(pattern).tones}
    both = {LOWER, UPPER} <= set(hands.values())
    cells = [
        min(grid.cells - 1, max(0, round(position.offset_units * grid.cells)))
        for position in pattern.positions
    ]
    staves = [2 if both and hands.get(i) == LOWER else 1 for i in range(len(cells))]
    return tuple(
        Template(
            offset_q=cell * grid.cell_q,
            duration_q=length * grid.cell_q,
            staff=staff,
            voice=staff,
        )
        for cell, length, staff in zip(
            cells, _lengths(pattern, grid, cells, staves), staves, strict=True
        )
    )


def _lengths(
    pattern: Pattern, grid: Grid, cells: Sequence[int], staves: Sequence[int]
) -> Iterator[int]:
    """Yield how long each note is written, in cells.

    How short a note is played is touch, not rhythm: it is written to the next one of its hand, or,
    where that is more than a beat away, to the end of a beat. Only what is plainly held over the
    next one is longer.
    """
    played = [position.articulation * grid.cells for position in pattern.positions]
    for cell, staff, lasts in zip(cells, staves, played, strict=True):
        mine = [other for other, its in zip(cells, staves, strict=True) if its == staff]
        onsets = sorted({*mine, *(other + grid.cells for other in mine)})
        room = next(other for other in onsets if other > cell) - cell
        if lasts > HELD * room:
            ends = [other - cell for other in onsets if other > cell]
            yield min(ends, key=lambda end: abs(end - lasts))
            continue
        together = [
            length
            for at, its, length in zip(cells, staves, played, strict=True)
            if (at, its) == (cell, staff) and length <= HELD * room
        ]
        beat = grid.parts - cell % grid.parts  # to the end of the beat it begins in
        longest = max(together, default=lasts)
        while beat < longest - grid.parts / 4:
            beat += grid.parts
        yield min(room, beat)
