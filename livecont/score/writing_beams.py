"""Beams, accidentals and clefs: what a page shows besides notes, by common practice.

Conventions: as in `writing_lanes`; staff places as in `music.pitch`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from livecont.music.pitch import LETTER_FIFTHS, Spelling
from livecont.music.score import Meter
from livecont.score.writing_lanes import LaneBar, Sign
from livecont.score.writing_rhythm import NAMES

FLAGS = {name: number for number, name in enumerate(NAMES[NAMES.index("eighth") :], 1)}


# --- beams --------------------------------------------------------------------------------------


def beams_of(row: LaneBar, meter: Meter) -> dict[int, tuple[str, ...]]:
    """Return what beams do at a sign, by its index: a word for each beam, the first the outermost.

    Words as in MusicXML: begin, continue, end, forward hook, backward hook.
    """
    result: dict[int, tuple[str, ...]] = {}
    for group in _groups(row, meter):
        counts = [_flags(row.signs[index]) for index in group]
        for place, index in enumerate(group):
            result[index] = _words(counts, place)
    return result


def _groups(row: LaneBar, meter: Meter) -> list[list[int]]:
    """Return the indices of signs under one beam, at least two each."""
    only_eighths = all(_flags(sign) <= 1 for sign in row.signs)
    length_q = _group_q(meter, only_eighths)
    groups: list[list[int]] = []
    current: list[int] = []
    place: object = None
    for index, sign in enumerate(row.signs):
        if not sign.notes or not _flags(sign):
            groups.append(current)
            current, place = [], None
            continue
        tuplet = sign.value.tuplet if sign.value is not None else None
        here = (sign.start_q // length_q, tuplet if tuplet and tuplet.normal < 8 else None)
        if current and here != place:
            groups.append(current)
            current = []
        place = here
        current.append(index)
    groups.append(current)
    return [group for group in groups if len(group) > 1]


def _group_q(meter: Meter, only_eighths: bool) -> Fraction:
    """How long a beam may be."""
    compound = meter.beats % 3 == 0 and meter.beat_type >= 8
    if compound:
        return 3 * meter.beat_q
    if meter.beat_type >= 8:
        return meter.bar_q
    whole_bar = only_eighths and meter.beats == 3 and meter.beat_type == 4
    halves = only_eighths and meter.bar_q % 2 == 0
    return meter.bar_q if whole_bar else Fraction(2) if halves else Fraction(1)


def _flags(sign: Sign) -> int:
    if sign.value is None or sign.value.name is None:
        return 0
    return FLAGS.get(sign.value.name, 0)


def _words(counts: Sequence[int], place: int) -> tuple[str, ...]:
    words = []
    for level in range(1, counts[place] + 1):
        before = place > 0 and counts[place - 1] >= level
        after = place + 1 < len(counts) and counts[place + 1] >= level
        if before and after:
            words.append("continue")
        elif before:
            words.append("end")
        elif after:
            words.append("begin")
        else:
            words.append("backward hook" if place > 0 else "forward hook")
    return tuple(words)


# --- accidentals --------------------------------------------------------------------------------

SIGNS = {
    -3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp",
    3: "triple-sharp",
}  # fmt: skip


@dataclass(slots=True)
class Accidentals:
    """What accidentals are in force in a bar, on each staff.

    `before` are those of the bar before: where a place of the staff has another one now, its first
    note has it printed, though by the rules it need not (common practice).

    >>> bar = Accidentals(fifths=1)
    >>> bar.shown(Spelling(31, 1), staff=1), bar.shown(Spelling(31, 0), staff=1)
    (None, 'natural')
    >>> Accidentals(fifths=1, before=bar.altered).shown(Spelling(31, 1), staff=1)
    'sharp'
    """

    fifths: int
    before: Mapping[tuple[int, int], int] = field(default_factory=dict)
    _in_force: dict[tuple[int, int], int] = field(default_factory=dict)

    def shown(self, pitch: Spelling, staff: int) -> str | None:
        """Return the accidental to print at a note, None where none is needed; it is then known."""
        place = (staff, pitch.staff)
        usual = signature_alter(self.fifths, pitch.letter)
        known = self._in_force.get(place, usual)
        remembered = place not in self._in_force and self.before.get(place, usual) != pitch.alter
        self._in_force[place] = pitch.alter
        return SIGNS.get(pitch.alter) if known != pitch.alter or remembered else None

    @property
    def altered(self) -> dict[tuple[int, int], int]:
        """What is in force that the signature does not give."""
        return {
            (staff, place): alter
            for (staff, place), alter in self._in_force.items()
            if alter != signature_alter(self.fifths, place % 7)
        }


def signature_alter(fifths: int, letter: int) -> int:
    """Return the accidental that a key signature gives to a letter."""
    return (fifths - LETTER_FIFTHS[letter] + 5) // 7


# --- clefs --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Clef:
    """A clef: its sign and line, and the staff places of its lowest and highest line."""

    sign: str
    line: int
    lowest: int

    @property
    def highest(self) -> int:
        """The staff place of the highest line."""
        return self.lowest + 8


TREBLE = Clef(sign="G", line=2, lowest=30)
BASS = Clef(sign="F", line=4, lowest=18)
ALTO = Clef(sign="C", line=3, lowest=24)
CHANGE_COST, UNUSUAL_COST = 12.0, 0.3


def clefs_of(
    bars: Sequence[Iterable[int]], clefs: Sequence[Clef] = (TREBLE, BASS), usual: Clef | None = None
) -> tuple[Clef, ...]:
    """Return a clef for each bar of a staff: the fewest ledger lines, and few changes.

    Args:
        bars: the staff places of the notes in each bar.
        clefs: those to choose from.
        usual: what the staff begins with where nothing speaks against it.
    """
    costs = [{clef: _bar_cost(list(bar), clef, usual) for clef in clefs} for bar in bars]
    back: list[dict[Clef, Clef]] = []
    totals = {clef: 0.0 if clef == usual else 1.0 for clef in clefs}
    for cost in costs:
        best = min(totals, key=lambda clef: totals[clef])
        came = {
            clef: clef if totals[clef] <= totals[best] + CHANGE_COST else best for clef in clefs
        }
        totals = {
            clef: totals[came[clef]] + (CHANGE_COST if came[clef] != clef else 0.0) + cost[clef]
            for clef in clefs
        }
        back.append(came)
    if not back:
        return ()
    clef = min(totals, key=lambda one: totals[one])
    found = [clef]
    for came in reversed(back[1:]):
        clef = came[clef]
        found.append(clef)
    return tuple(reversed(found))


def _bar_cost(places: Sequence[int], clef: Clef, usual: Clef | None) -> float:
    """Ledger lines, and more for each the more of them a note has; rather the usual clef."""
    cost = 0.0 if clef == usual or usual is None else UNUSUAL_COST * len(places)
    for place in places:
        below, above = (clef.lowest - place) // 2, (place - clef.highest) // 2
        lines = max(0, below, above)
        cost += 0.2 * lines + max(0, lines - 1) + max(0, lines - 3) ** 2
    return cost
