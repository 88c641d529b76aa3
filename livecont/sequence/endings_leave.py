"""Where a chain is best left for a cadence, told by its harmonies and registers alone.

Conventions: places as in `endings_course`; costs compare. Nothing is set here: `endings_close`
finds the notes once the place is chosen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from livecont.music.clarity import CLEAR, sonority_clarity
from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.music.spectrum import MODERN_PIANO, Spectrum
from livecont.sequence.endings_course import Course, Place
from livecont.sequence.endings_figure import RUNGS, Cell, Figure, root_of
from livecont.sequence.endings_final import FULL_NOTES, texture_of
from livecont.sequence.endings_harmony import (
    DOMINANT,
    SIX_FOUR,
    Cadence,
    cadences,
    dominant_of,
    leading_tone,
    leaving_cost,
)
from livecont.sequence.endings_leading import LOWER, UPPER

# the chain may be left so many links before its limit, where a cadence follows better ...
LINKS_AHEAD = 6
# ... but every link given up costs this
EARLY_COST = 0.15
# a harmony foreign to the key, but for those that fall to the dominant; what follows one of these
CHROMATIC_COST = 0.6
AFTER_CHROMATIC_COST = 0.4
# (degree, alteration of its root) of the lowered second and sixth, and of applied dominants
FALLS_TO_DOMINANT = {(1, -1), (5, -1), (1, 0), (4, 0), (5, 0)}
NEAR_BASS, FAR_BASS_COST = 6, 0.2
# what an unclear ending costs, and what more where it is to be clear
MUD_COST, LIMIT_COST = 0.8, 4.0

Allowed = Callable[[Sequence[int]], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaving:
    """The course with all that bears on leaving it.

    `allowed` says whether pitches have keys; `to_be_clear` whether the ending, too, is to stay
    within the clear limit.
    """

    course: Course
    figure: Figure
    allowed: Allowed
    spectrum: Spectrum = MODERN_PIANO
    to_be_clear: bool = False
    known: dict[Place, list[tuple[float, Cadence]]] = field(default_factory=dict)

    @property
    def key(self) -> Key:
        """The key to close in."""
        return self.course.pattern.key

    def leaves(self, place: Place, ahead: int) -> bool:
        """Whether to leave after a place rather than after one of those still ahead.

        Never before the first link, where there is room for it.
        """
        if place.link <= self.course.last_heard and ahead > 0:
            return False
        now = self.cadences(place)[0][0]
        later = (self.cadences(place.on(n))[0][0] - EARLY_COST * n for n in range(1, ahead + 1))
        return all(now <= cost for cost in later)

    def cadences(self, place: Place) -> list[tuple[float, Cadence]]:
        """Return the cadences after a place, cheapest first."""
        known = self.known.get(place)
        if known is None:
            known = self.known[place] = sorted(self._rated(place), key=lambda one: one[0])
        return known

    def degree(self, cell: Cell, place: Place) -> int:
        """Return the degree of a cell's root at a place."""
        return self.key.degree(root_of(cell, self.course.near_at(place)))

    def mud_cost(self, sonority: Sequence[int]) -> float:
        """Return what it costs that a last chord is not clear."""
        clear = sonority_clarity(tuple(sorted(set(sonority))), self.spectrum)
        short = max(0.0, CLEAR - clear) if self.to_be_clear else 0.0
        return MUD_COST * (1 - clear) + LIMIT_COST * short

    def _rated(self, place: Place) -> Iterator[tuple[float, Cadence]]:
        cells = self.figure.cells
        if not cells:
            yield 0.0, next(cadences(1, self.key))
            return
        last = self.degree(cells[-1], place)
        natural = tuple(self.degree(cell, place.on()) for cell in cells)
        arrives = self._arrives(place)
        foreign, strange = self._foreign(cells[-1], place)
        bass, top = self._outer(place)
        register = self._end_cost(bass, top)
        for cadence in cadences(len(cells), self.key):
            cost = leaving_cost(cadence, last, arrives, natural) + register
            first = cadence.chords[0]
            prepares = not (first.leading or first.final or first == SIX_FOUR)
            cost += CHROMATIC_COST * strange + AFTER_CHROMATIC_COST * (foreign and prepares)
            yield cost + self._bass_cost(bass, cadence), cadence

    def _outer(self, place: Place) -> tuple[int | None, int | None]:
        """The first bass of the harmony that is left, and its last upper note."""
        spelled = self.course.near_at(place)
        cell = self.figure.cells[-1]
        lower = [s for n in cell.part(LOWER)[:1] if (s := spelled[n.tone.index]) is not None]
        upper = [s for n in cell.part(UPPER)[-1:] if (s := spelled[n.tone.index]) is not None]
        return (lower[0].midi if lower else None), (upper[0].midi if upper else None)

    def _near(self, degree: int, near: int) -> Spelling | None:
        """The pitch of a degree that is nearest to another and has a key."""
        staff = self.key.letter + degree
        every = (self.key.natural(staff + 7 * octave) for octave in range(11))
        had = [pitch for pitch in every if self.allowed([pitch.midi])]
        return min(had, key=lambda pitch: abs(pitch.midi - near), default=None)

    def _bass_cost(self, bass: int | None, cadence: Cadence) -> float:
        """What it costs that a harmony's bass is not to be had near the last one of the chain."""
        cost = 0.0
        for chord in cadence.chords:
            if bass is not None and not chord.final:
                near = self._near(chord.degree + RUNGS[chord.basses[0]], bass)
                away = 99 if near is None else abs(near.midi - bass)
                cost += FAR_BASS_COST * max(0, away - NEAR_BASS)
        return cost

    def _end_cost(self, bass: int | None, top: int | None) -> float:
        """What the register of the last chord costs, as it would be from here."""
        high = None if top is None else self._near(0, top)
        if high is None:
            return 0.0
        dominant = None if bass is None else self._near(dominant_of(self.key).degree, bass)
        if dominant is None:
            return self.mud_cost([high.midi])
        upper = [high.midi]
        if texture_of(self.figure).notes >= FULL_NOTES:
            upper += [self.key.natural(high.staff - places).midi for places in (3, 5)]
        lows = [p for p in (dominant.midi - 7, dominant.midi + 5) if self.allowed([p])]
        return min((self.mud_cost([low, *upper]) for low in lows), default=self.mud_cost(upper))

    def _foreign(self, cell: Cell, place: Place) -> tuple[bool, bool]:
        """Whether a harmony is foreign to the key, and whether none that falls to the dominant."""
        spelled = self.course.near_at(place)
        tones = [
            s
            for note in cell.notes
            if note.away == 0 and (s := spelled[note.tone.index]) is not None
        ]
        if not any(self._bent(s) for s in tones):
            return False, False
        degree = self.degree(cell, place)
        root = next((s for s in tones if self.key.degree(s.staff) == degree), None)
        bent = self._bent(root) if root is not None else 0
        return True, (degree, bent) not in FALLS_TO_DOMINANT

    def _bent(self, pitch: Spelling) -> int:
        return pitch.alter - self.key.signature_alter(pitch.staff)

    def _arrives(self, place: Place) -> bool:
        """Whether a link ends on a dominant with its leading tone and root in the bass."""
        cell = self.figure.cells[-1]
        dominant = dominant_of(self.key)
        if self.degree(cell, place) != dominant.degree or dominant.degree != DOMINANT:
            return False
        if cell.part(LOWER) and cell.part(LOWER)[0].rung % 3 != 0:
            return False
        spelled = self.course.near_at(place)
        thirds = [
            s
            for note in cell.notes
            if note.rung % 3 == 1 and note.away == 0 and (s := spelled[note.tone.index])
        ]
        return bool(thirds) and all(s == leading_tone(self.key, s.staff) for s in thirds)
