"""Closing: the notes of a cadence after a chain, in its own figure.

Conventions: as in `endings_setting`; costs compare. The notes are found by the cheapest way through
the settings of each harmony (Viterbi 1967), so that outer voices make no parallels, leading tones
rise, and hands stay where they are. Where to leave is told by `endings_leave`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from livecont.music.pitch import Spelling
from livecont.sequence.endings_course import Place, Spelled
from livecont.sequence.endings_figure import Cell, Figure
from livecont.sequence.endings_final import Texture, finals, texture_of
from livecont.sequence.endings_harmony import FINAL, Cadence, Chord
from livecont.sequence.endings_leave import LINKS_AHEAD, Leaving
from livecont.sequence.endings_setting import Setting, as_it_sounds, settings_of
from livecont.sequence.endings_voices import joining_cost
from livecont.sequence.endings_walk import Walk
from livecont.sequence.pattern import Link, LinkNote, Pattern, PedalMark, Role

# so many of the cheapest cadences are worked out, and so many settings of a harmony compared
CADENCES_TRIED = 3
SETTINGS_KEPT = 6
# a cadence that costs more breaks a rule
SOUND = 8.0
FINAL_HELD = 0.96
TOGETHER_S = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class CadenceLink:
    """A link of a cadence: pitches for some positions, then the last tonic from `final_offset`."""

    spelled: Spelled
    final: tuple[tuple[int, Spelling], ...]
    final_offset: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """Finds the notes of a cadence after a place."""

    leaving: Leaving
    known: dict[Place, tuple[float, tuple[CadenceLink, ...]]] = field(default_factory=dict)

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
        texture = texture_of(self.leaving.figure)
        last = self._last_setting(place)
        best: tuple[float, tuple[CadenceLink, ...]] = (math.inf, ())
        for cost, cadence in self.leaving.cadences(place)[:CADENCES_TRIED]:
            way = self._cheapest(cadence, last, place, texture)
            if way is not None and cost + way[0] < best[0]:
                best = (cost + way[0], self._links(cadence, way[1]))
        return best

    def _last_setting(self, place: Place) -> Setting:
        """The harmony that is left, as it sounds."""
        spelled = self.leaving.course.at(place)
        cells = self.leaving.figure.cells
        if not cells:
            return as_it_sounds(self._cell(0), spelled, FINAL)
        chord = Chord(degree=self.leaving.degree(cells[-1], place), basses=())
        return as_it_sounds(cells[-1], spelled, chord)

    def _cheapest(
        self, cadence: Cadence, last: Setting, place: Place, texture: Texture
    ) -> tuple[float, list[Setting]] | None:
        """The cheapest settings of a cadence's harmonies, one after the other."""
        reference = self.leaving.course.at(place)
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
        cells = self.leaving.figure.cells
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
            for setting in settings_of(cell, chord, self.leaving.key, reference)
            if self.leaving.allowed([note.pitch for note in setting.struck])
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
            for final in finals(way[-1], self.leaving.key, texture, cell.start):
                if self.leaving.allowed([note.pitch for note in final.struck]):
                    total = cost + final.cost + joining_cost(way[-1], final)
                    total += self.leaving.mud_cost([note.pitch for note in final.struck])
                    found.append((total, [*way, final]))
        return found

    def _links(self, cadence: Cadence, settings: list[Setting]) -> tuple[CadenceLink, ...]:
        found = []
        rest = iter(settings)
        for chords in cadence.links:
            spelled: list[Spelling | None] = [None] * len(self.leaving.course.pattern.positions)
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
        leaves = ahead < LINKS_AHEAD and closing.leaving.leaves(place, ahead)
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
