"""The course of a chain: any of its links, wherever it lies, exactly or as good as.

Conventions: links are numbered from 1, the model; the links played are among them. A place on the
course is a link's number and by how many octaves it is moved. A course repeats itself after a lap
of links, some octaves away: seven links of a step within the key, less where the step divides the
circle of semitones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import gcd

from livecont.music.pitch import Spelling, spell_at
from livecont.sequence.continuation import carry_on
from livecont.sequence.pattern import Kind, Link, LinkNote, Pattern

OCTAVE_STAFF = 7
Spelled = tuple[Spelling | None, ...]


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where a chain stands: a link of the course, moved by octaves."""

    link: int
    octaves: int = 0

    def on(self, links: int = 1, octaves: int = 0) -> Place:
        """Return the place so many links and octaves on."""
        return Place(self.link + links, self.octaves + octaves)


def lap_of(pattern: Pattern) -> tuple[int, int]:
    """Return after how many links a course comes back, and how many octaves away it is then."""
    if pattern.kind is Kind.REAL and pattern.shift_semitones is not None:
        whole, step = 12, pattern.shift_semitones
    else:
        whole, step = OCTAVE_STAFF, pattern.step_degrees
    links = whole // gcd(whole, step)
    return links, links * step // whole


class Course:
    """Every link of a chain. Exact links are worked out once, each when it is first wanted."""

    def __init__(self, pattern: Pattern) -> None:
        self.pattern = pattern
        self.lap, self.lap_octaves = lap_of(pattern)
        self.last_heard = pattern.links_heard
        self._positions = pattern.positions
        self._next = self.last_heard + 1
        self._known: dict[int, Spelled] = {}
        self._near: dict[int, Spelled] = {}
        if pattern.positions:
            known = len(pattern.positions[0].heard)
            for back in range(known):
                heard = tuple(p.heard[known - 1 - back] for p in pattern.positions)
                self._known[self.last_heard - back] = heard
        self.first_known = min(self._known, default=self.last_heard)

    def spelled(self, number: int) -> Spelled:
        """Return the pitches of a link from `first_known` on, a place for every position."""
        if number < self.first_known:
            raise ValueError(f"link {number} lies before the first one known")
        first, laps = self._in_first_laps(number)
        while first not in self._known:
            self._draw()
        known = self._known[first]
        if first <= self.last_heard:
            return self._filled(known, first)
        return _moved(known, laps * self.lap_octaves)

    def near(self, number: int) -> Spelled:
        """Return about what a link has, at no cost: its accidentals may be others.

        Exactly what it has, where that is known already.
        """
        first, laps = self._in_first_laps(number)
        if first in self._known and first > self.last_heard:
            return _moved(self._known[first], laps * self.lap_octaves)
        if number not in self._near:
            self._near[number] = self._shifted(number) if self._real else self._estimated(number)
        return self._near[number]

    def _estimated(self, number: int) -> Spelled:
        return tuple(
            None if position.heard[-1] is None else self._estimate(position.heard[-1], number)
            for position in self.pattern.positions
        )

    def _in_first_laps(self, number: int) -> tuple[int, int]:
        """The link that repeats itself in this one, and how many laps earlier it is.

        The first lap may still look back at what was played; from then on the chain repeats itself.
        """
        laps = max(0, (number - self.last_heard - self.lap - 1) // self.lap)
        return number - laps * self.lap, laps

    def pitches(self, place: Place) -> tuple[int, ...]:
        """Return about which MIDI pitches the link at a place has, sorted; exactly, if played."""
        played = self.first_known <= place.link <= self.last_heard
        spelled = self.spelled(place.link) if played else self.near(place.link)
        return tuple(sorted({s.midi + 12 * place.octaves for s in spelled if s is not None}))

    def at(self, place: Place) -> Spelled:
        """Return the pitches of the link at a place."""
        return _moved(self.spelled(place.link), place.octaves)

    def near_at(self, place: Place) -> Spelled:
        """Return about the pitches of the link at a place, at no cost."""
        return _moved(self.near(place.link), place.octaves)

    def sounding(self, spelled: Spelled, number: int) -> Link:
        """Return a link of some pitches in the rhythm and touch of the pattern."""
        unit_s = self.pattern.unit_s
        notes = tuple(
            LinkNote(
                offset_s=max(0.0, position.offset_units) * unit_s,
                duration_s=position.articulation * unit_s,
                spelling=spelling,
                velocity=min(127, max(1, position.velocity)),
                channel=position.channel,
            )
            for position, spelling in zip(self.pattern.positions, spelled, strict=True)
            if spelling is not None
        )
        pedals = self.pattern.pedals
        return Link(number=number, unit_s=unit_s, notes=notes, pedals=pedals)

    def _draw(self) -> None:
        pattern = self.pattern
        if self._real:
            self._known[self._next] = self._shifted(self._next)
            self._next += 1
            return
        spelled = carry_on(self._positions, pattern.step_degrees, pattern.key, pattern.before)
        self._known[self._next] = spelled
        self._next += 1
        self._positions = tuple(
            replace(position, heard=(*position.heard, heard))
            for position, heard in zip(self._positions, spelled, strict=True)
        )

    @property
    def _real(self) -> bool:
        return self.pattern.kind is Kind.REAL and self.pattern.shift_semitones is not None

    def _shifted(self, number: int) -> Spelled:
        """A link of a real chain: the latest one played, moved by semitones, spelled to be read."""
        moved = self._estimated(number)
        pitches = [s for s in moved if s is not None]
        if sum(abs(s.alter) for s in pitches) <= len(pitches):
            return moved
        # as a whole on other places of the staff, where that has fewer sharps and flats
        return min(
            (
                tuple(None if s is None else spell_at(s.midi, s.staff + places) for s in moved)
                for places in sorted(range(-14, 15), key=abs)
            ),
            key=lambda link: sum(abs(s.alter) for s in link if s is not None),
        )

    def _filled(self, known: Spelled, number: int) -> Spelled:
        """A link played, without what the chain drops and with what it gained later."""
        return tuple(
            None if later is None else (heard or later)
            for heard, later in zip(known, self.near(number), strict=True)
        )

    def _estimate(self, latest: Spelling, number: int) -> Spelling:
        ahead = number - self.last_heard
        pattern = self.pattern
        staff = latest.staff + ahead * pattern.step_degrees
        if self._real and pattern.shift_semitones is not None:
            return spell_at(latest.midi + ahead * pattern.shift_semitones, staff)
        alter = pattern.key.signature_alter(staff)
        return latest if ahead == 0 else Spelling(staff, alter)


def _moved(spelled: Spelled, octaves: int) -> Spelled:
    if octaves == 0:
        return spelled
    return tuple(
        None if s is None else Spelling(s.staff + OCTAVE_STAFF * octaves, s.alter) for s in spelled
    )
