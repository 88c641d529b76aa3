"""Closing: where a chain is left for a cadence in the key, and the cadence itself.

Conventions: as in `endings_setting`; costs compare. Which links to leave after is told by the
harmonies alone; the notes are then found by the cheapest way through the settings of each harmony
(Viterbi 1967), so that outer voices make no parallels, leading tones rise, and hands stay where
they are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from livecont.music.clarity import sonority_clarity
from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.music.spectrum import MODERN_PIANO, Spectrum
from livecont.sequence.endings_course import Course, Place, Spelled
from livecont.sequence.endings_figure import RUNGS, Cell, Figure
from livecont.sequence.endings_final import Texture, finals, texture_of
from livecont.sequence.endings_harmony import (
    DOMINANT,
    FINAL,
    Cadence,
    Chord,
    cadences,
    dominant_of,
    leading_tone,
    leaving_cost,
)
from livecont.sequence.endings_leading import LOWER
from livecont.sequence.endings_setting import Setting, as_it_sounds, settings_of
from livecont.sequence.endings_voices import joining_cost
from livecont.sequence.endings_walk import Walk
from livecont.sequence.pattern import Link, LinkNote, Pattern, PedalMark, Role

# the chain may be left so many links before its limit, where a cadence follows better ...
LINKS_AHEAD = 6
# ... but every link given up costs this
EARLY_COST = 0.15
# so many of the cheapest cadences are worked out, and so many settings of a harmony compared
CADENCES_TRIED = 3
SETTINGS_KEPT = 6
CHROMATIC_COST = 0.6
MUD_COST = 0.8
NEAR_BASS, FAR_BASS_COST = 6, 0.2
# a cadence that costs more breaks a rule
SOUND = 8.0
FINAL_HELD = 0.96
TOGETHER_S = 0.04

Allowed = Callable[[Sequence[int]], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class CadenceLink:
    """A link of a cadence: pitches for some positions, then the last tonic from `final_offset`."""

    spelled: Spelled
    final: tuple[tuple[int, Spelling], ...]
    final_offset: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """What is needed to close: the course, its figure, and whether pitches may sound."""

    course: Course
    figure: Figure
    allowed: Allowed
    spectrum: Spectrum = MODERN_PIANO
    known: dict[Place, tuple[float, tuple[CadenceLink, ...]]] = field(default_factory=dict)

    @property
    def key(self) -> Key:
        """The key to close in."""
        return self.course.pattern.key

    def leaves(self, place: Place, ahead: int) -> bool:
        """Whether to leave after a place rather than after one of those still ahead."""
        if place.link <= self.course.last_heard and ahead > 0:
            return False
        now = self._leaving(place)[0][0]
        later = (self._leaving(place.on(n))[0][0] + EARLY_COST * -n for n in range(1, ahead + 1))
        return all(now <= cost for cost in later)

    def cadence(self, place: Place) -> tuple[CadenceLink, ...]:
        """Return the links of the best cadence after a place; none where there is no room."""
        return self._best(place)[1]

    def sound(self, place: Place) -> bool:
        """Whether a cadence after a place breaks no rule."""
        return self._best(place)[0] <= SOUND

    def _best(self, place: Place) -> tuple[float, tuple[CadenceLink, ...]]:
        known = self.known.get(place)
        if known is None:
            known = self.known[place] = self._worked_out(place)
        return known

    def _worked_out(self, place: Place) -> tuple[float, tuple[CadenceLink, ...]]:
        texture = texture_of(self.figure)
        last = self._last_setting(place)
        best: tuple[float, tuple[CadenceLink, ...]] = (math.inf, ())
        for cost, cadence in self._leaving(place)[:CADENCES_TRIED]:
            way = self._cheapest(cadence, last, place, texture)
            if way is not None and cost + way[0] < best[0]:
                best = (cost + way[0], self._links(cadence, way[1]))
        return best

    # --- where to leave -------------------------------------------------------------------------

    def _leaving(self, place: Place) -> list[tuple[float, Cadence]]:
        """The cadences after a place, cheapest first, by their harmonies."""
        cells = self.figure.cells
        if not cells:
            return [(0.0, next(cadences(1, self.key)))]
        last = self._degree(cells[-1], place)
        natural = tuple(self._degree(cell, place.on()) for cell in cells)
        arrives = self._arrives(place)
        strange = CHROMATIC_COST * self._chromatic(cells[-1], place)
        bass = self._bass(place)
        found = [
            (
                leaving_cost(cadence, last, arrives, natural)
                + strange
                + self._bass_cost(bass, cadence),
                cadence,
            )
            for cadence in cadences(len(cells), self.key)
        ]
        return sorted(found, key=lambda one: one[0])

    def _bass(self, place: Place) -> int | None:
        """The bass that a link ends on: what the lower hand strikes first in its last harmony."""
        lower = self.figure.cells[-1].part(LOWER)
        spelled = self.course.near_at(place)
        found = spelled[lower[0].tone.index] if lower else None
        return found.midi if found is not None else None

    def _bass_cost(self, bass: int | None, cadence: Cadence) -> float:
        """What it costs that a harmony's bass is not to be had near the last one of the chain."""
        cost = 0.0
        if bass is None:
            return cost
        for chord in cadence.chords:
            staff = self.key.letter + chord.degree + RUNGS[chord.basses[0]]
            every = (self.key.natural(staff + 7 * octave).midi for octave in range(11))
            near = min((abs(pitch - bass) for pitch in every if self.allowed([pitch])), default=99)
            if not chord.final:
                cost += FAR_BASS_COST * max(0, near - NEAR_BASS)
        return cost

    def _degree(self, cell: Cell, place: Place) -> int:
        ahead = (place.link - self.course.last_heard) * self.course.pattern.step_degrees
        return self.key.degree(cell.root + ahead)

    def _chromatic(self, cell: Cell, place: Place) -> bool:
        """Whether a harmony of a link is foreign to the key, but for what falls to the dominant."""
        spelled = self.course.near_at(place)
        foreign = [
            s
            for note in cell.notes
            if (s := spelled[note.tone.index]) is not None
            and note.away == 0
            and s.alter != self.key.signature_alter(s.staff)
        ]
        return bool(foreign) and self._degree(cell, place) not in (1, 4, 5)

    def _arrives(self, place: Place) -> bool:
        """Whether a link ends on a dominant with its leading tone and root in the bass."""
        cell = self.figure.cells[-1]
        dominant = dominant_of(self.key)
        if self._degree(cell, place) != dominant.degree or dominant.degree != DOMINANT:
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

    # --- which notes ----------------------------------------------------------------------------

    def _last_setting(self, place: Place) -> Setting:
        """The harmony that is left, as it sounds."""
        spelled = self.course.at(place)
        cells = self.figure.cells
        if not cells:
            return as_it_sounds(Cell(start=0.0, end=1.0, root=0, notes=()), spelled, FINAL)
        chord = Chord(degree=self._degree(cells[-1], place), basses=())
        return as_it_sounds(cells[-1], spelled, chord)

    def _cheapest(
        self, cadence: Cadence, last: Setting, place: Place, texture: Texture
    ) -> tuple[float, list[Setting]] | None:
        """The cheapest settings of a cadence's harmonies, one after the other."""
        reference = self.course.at(place)
        ways: list[tuple[float, list[Setting]]] = [(0.0, [last])]
        for link in cadence.links:
            for number, chord in enumerate(link):
                cell = self._cell(number)
                if chord.final:
                    ways = self._with_final(ways, cell, texture)
                else:
                    ways = self._with_next(ways, cell, chord, reference)
                if not ways:
                    return None
        cost, settings = min(ways, key=lambda way: way[0])
        return cost, settings[1:]

    def _cell(self, number: int) -> Cell:
        cells = self.figure.cells
        return cells[number] if cells else Cell(start=0.0, end=1.0, root=0, notes=())

    def _with_next(
        self,
        ways: list[tuple[float, list[Setting]]],
        cell: Cell,
        chord: Chord,
        reference: Spelled,
    ) -> list[tuple[float, list[Setting]]]:
        options = [
            setting
            for setting in settings_of(cell, chord, self.key, reference)
            if self.allowed([note.pitch for note in setting.struck])
        ]
        options.sort(key=lambda setting: setting.cost)
        found = []
        for setting in options[:SETTINGS_KEPT]:
            cost, way = min(
                ((cost + joining_cost(way[-1], setting), way) for cost, way in ways),
                key=lambda one: one[0],
            )
            found.append((cost + setting.cost, [*way, setting]))
        return found

    def _with_final(
        self, ways: list[tuple[float, list[Setting]]], cell: Cell, texture: Texture
    ) -> list[tuple[float, list[Setting]]]:
        found = []
        for cost, way in ways:
            for final in finals(way[-1], self.key, texture, cell.start):
                if self.allowed([note.pitch for note in final.struck]):
                    total = cost + final.cost + joining_cost(way[-1], final)
                    total += MUD_COST * (1 - self._clarity(final))
                    found.append((total, [*way, final]))
        return found

    def _clarity(self, final: Setting) -> float:
        sonority = tuple(sorted({note.pitch for note in final.struck}))
        return sonority_clarity(sonority, self.spectrum)

    def _links(self, cadence: Cadence, settings: list[Setting]) -> tuple[CadenceLink, ...]:
        found = []
        rest = iter(settings)
        for chords in cadence.links:
            spelled: list[Spelling | None] = [None] * len(self.course.pattern.positions)
            final: tuple[tuple[int, Spelling], ...] = ()
            offset = 1.0
            for number, chord in enumerate(chords):
                setting = next(rest)
                if chord.final:
                    final, offset = setting.pitches, self._cell(number).start
                else:
                    for index, pitch in setting.pitches:
                        spelled[index] = pitch
            found.append(CadenceLink(spelled=tuple(spelled), final=final, final_offset=offset))
        return tuple(found)


def to_a_cadence(walk: Walk, closing: Closing) -> Iterator[tuple[Place, Role]]:
    """Yield places step by step up to where the chain is to be left."""
    place = Place(walk.course.last_heard)
    while True:
        ahead = walk.links_ahead(place, LINKS_AHEAD)
        leaves = ahead < LINKS_AHEAD and closing.leaves(place, ahead)
        if ahead == 0 or (leaves and closing.sound(place)):
            return
        place = place.on()
        yield place, Role.CHAIN


def with_final(link: Link, pattern: Pattern, figure: Figure, cadence: CadenceLink) -> Link:
    """Return a link with the last tonic, held to its end in the touch of the link's beginning."""
    start_s = cadence.final_offset * pattern.unit_s
    notes = []
    for part, pitch in cadence.final:
        own = [pattern.positions[tone.index] for tone in figure.tones if tone.part == part]
        heads = own or list(pattern.positions)
        notes.append(
            LinkNote(
                offset_s=start_s,
                duration_s=FINAL_HELD * (pattern.unit_s - start_s),
                spelling=pitch,
                velocity=min(127, max(1, heads[0].velocity)),
                channel=heads[0].channel,
            )
        )
    # the pedal is not changed under the last chord: what was down at its start comes up at the end
    pedals = tuple(mark for mark in link.pedals if mark.offset_units <= cadence.final_offset)
    lifted = {mark.controller for mark in pedals if mark.value > 0}
    ends = tuple(PedalMark(offset_units=FINAL_HELD, controller=c, value=0) for c in sorted(lifted))
    return replace(link, notes=(*link.notes, *notes), pedals=(*pedals, *ends))


def once(link: Link) -> Link:
    """Return a link in which no key is struck twice at a time: hands that meet share it."""
    kept: list[LinkNote] = []
    for note in sorted(link.notes, key=lambda n: (n.offset_s, n.pitch, -n.duration_s)):
        if not any(k.pitch == note.pitch and note.offset_s - k.offset_s < TOGETHER_S for k in kept):
            kept.append(note)
    return replace(link, notes=tuple(kept))
