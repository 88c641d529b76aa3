"""The chain: links to come, made from a pattern by the rules of continuation.

Conventions: links are numbered from 1, the model; times inside a link in seconds from its start.
Pure: the same pattern, choices and dice give the same chain. Links are drawn up one at a time, as
they are asked for.
"""

from __future__ import annotations

import random  # noqa: TID251 -- only typed: dice are handed in, seeded
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice

from livecont.music.clarity import CLEAR
from livecont.music.compass import Compass
from livecont.music.spectrum import MODERN_PIANO, Spectrum
from livecont.sequence.endings import Ending, Limit
from livecont.sequence.endings_clarity import clarity_of, falls_short
from livecont.sequence.endings_course import Course, Place, Spelled
from livecont.sequence.endings_figure import Figure, figure_of
from livecont.sequence.endings_walk import Walk, folding, turned, turning
from livecont.sequence.pattern import Link, Pattern, Role

# more links than any compass has room for: 88 keys by the smallest step
MOST_LINKS = 128


@dataclass(frozen=True, kw_only=True)
class Chain:
    """A pattern, the instrument it is to sound on, how far it goes and how it ends.

    `most_links` bounds how many links follow those heard before the ending begins (folding: how
    many sound in all); None: only `limit` does. `spectrum` is the instrument's sound: where it is
    given every link's clarity is worked out; a clear limit takes the modern piano's for want of
    one. `surprise` is the chance that a link breaks the pattern, for which `dice` are needed.
    """

    pattern: Pattern
    compass: Compass
    most_links: int | None = None
    limit: Limit = Limit.COMPASS
    ending: Ending = Ending.STOP
    spectrum: Spectrum | None = None
    surprise: float = 0.0
    dice: random.Random | None = None

    @cached_property
    def course(self) -> Course:
        """Every link of the chain, shared by all that ask for links of it."""
        return Course(self.pattern)

    @cached_property
    def figure(self) -> Figure:
        """The link taken apart."""
        return figure_of(self.pattern)

    def plain(self) -> Iterator[Link]:
        """Yield the links after those heard as long as every note has a key, whatever the limit.

        A chain that never leaves the compass (its step moves nothing) is cut at 128 links.
        """
        for number in range(self.course.last_heard + 1, self.course.last_heard + MOST_LINKS + 1):
            link = self._link(self.course.spelled(number), number, Role.CHAIN)
            if not self._holds(link):
                return
            yield link

    def links(self) -> Iterator[Link]:
        """Yield the links after those heard to the limit, then those of the ending.

        Only folding goes on without end, where `most_links` does not bound it.
        """
        if self.ending is Ending.STOP:
            yield from self._to_the_limit()
            return
        walk = self._walk
        places = turning(walk) if self.ending is Ending.TURN else folding(walk)
        number = self.course.last_heard
        for place, role in islice(places, self._most(Ending.FOLD)):
            number += 1
            spelled = turned(walk, place) if role is Role.TURNED else self.course.at(place)
            yield self._link(spelled, number, role)

    def _most(self, ending: Ending) -> int | None:
        return self.most_links if self.ending is ending else None

    def _to_the_limit(self) -> Iterator[Link]:
        to_be_clear = self.limit is Limit.CLEAR
        before = self._near_clarity(Place(self.course.last_heard)) if to_be_clear else None
        for link in islice(self.plain(), self.most_links):
            if to_be_clear and falls_short(link.clarity, before):
                return
            before = link.clarity
            yield link

    @cached_property
    def _walk(self) -> Walk:
        return Walk(
            course=self.course, figure=self.figure, fits=self._fits, clarity=self._near_clarity
        )

    def _fits(self, place: Place, before: Place | None) -> bool:
        """Whether the chain may go on to a place from the one before, or leap to it from afar."""
        heard = self.course.last_heard
        most = None if self.ending is Ending.FOLD else self.most_links
        if most is not None and place.link > heard + most:
            return False
        pitches = self.course.pitches(place)
        if not pitches or not self.compass.holds(pitches):
            return False
        if self.limit is Limit.COMPASS:
            return True
        clarity = self._near_clarity(place)
        if before is None:
            return clarity >= CLEAR
        return not falls_short(clarity, self._near_clarity(before))

    @cached_property
    def _clarities(self) -> dict[Place, float]:
        return {}

    def _near_clarity(self, place: Place) -> float:
        known = self._clarities.get(place)
        if known is None:
            link = self.course.sounding(self.course.near_at(place), place.link, Role.CHAIN)
            known = clarity_of(link, self.spectrum or MODERN_PIANO)
            self._clarities[place] = known
        return known

    def _link(self, spelled: Spelled, number: int, role: Role) -> Link:
        link = self.course.sounding(spelled, number, role)
        if self.spectrum is None and self.limit is Limit.COMPASS:
            return link
        return replace(link, clarity=clarity_of(link, self.spectrum or MODERN_PIANO))

    def _holds(self, link: Link) -> bool:
        return bool(link.notes) and self.compass.holds(note.pitch for note in link.notes)
