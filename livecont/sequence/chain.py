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
from livecont.sequence.endings_close import CadenceLink, Closing, once, to_a_cadence, with_final
from livecont.sequence.endings_course import Course, Place
from livecont.sequence.endings_figure import Figure, figure_of
from livecont.sequence.endings_leave import Leaving
from livecont.sequence.endings_surprise import Scene, surprise
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
            link = self._rated(self.course.sounding(self.course.spelled(number), number))
            if not link.notes or not self.compass.holds(note.pitch for note in link.notes):
                return
            yield link

    def links(self) -> Iterator[Link]:
        """Yield the links after those heard to the limit, then those of the ending.

        Only folding goes on without end, where `most_links` does not bound it.

        Raises:
            ValueError: where surprises are wanted and there are no dice.
        """
        if self.surprise > 0 and self.dice is None:
            raise ValueError("a chain that is to surprise needs dice")
        number = self.course.last_heard
        place = Place(number)
        last_surprise = number + 1  # the first link shows that the pattern was understood
        for place, role in self._places():
            number += 1
            link = self._link(place, role, number, surprising=number > last_surprise + 1)
            if link.changed is not None:
                last_surprise = number
            yield link
        if self.ending is Ending.CLOSE:
            for cadence in self._closing.cadence(place):
                number += 1
                yield self._cadence_link(cadence, number)

    def _places(self) -> Iterator[tuple[Place, Role]]:
        match self.ending:
            case Ending.STOP:
                return ((Place(link.number), Role.CHAIN) for link in self._to_the_limit())
            case Ending.FOLD:
                return islice(folding(self._walk), self.most_links)
            case Ending.TURN:
                return turning(self._walk)
            case Ending.CLOSE:
                return to_a_cadence(self._walk, self._closing)

    def _to_the_limit(self) -> Iterator[Link]:
        to_be_clear = self.limit is Limit.CLEAR
        before = self._near_clarity(Place(self.course.last_heard)) if to_be_clear else None
        for link in islice(self.plain(), self.most_links):
            if to_be_clear and falls_short(link.clarity, before):
                return
            before = link.clarity
            yield link

    def _link(self, place: Place, role: Role, number: int, surprising: bool) -> Link:
        back = role is Role.TURNED
        spelled = turned(self._walk, place) if back else self.course.at(place)
        changed = None
        if surprising and self.dice is not None and self.dice.random() < self.surprise:
            found = surprise(
                Scene(
                    figure=self.figure,
                    spelled=spelled,
                    key=self.pattern.key,
                    allowed=self.compass.holds,
                ),
                self.dice,
            )
            if found is not None:
                spelled, changed = found.spelled, found.said
        link = replace(self.course.sounding(spelled, number), role=role, changed=changed)
        return self._rated(link)

    def _cadence_link(self, cadence: CadenceLink, number: int) -> Link:
        link = replace(self.course.sounding(cadence.spelled, number), role=Role.CADENCE)
        if cadence.final:
            link = with_final(link, self.pattern, self.figure, cadence)
        return self._rated(once(link))

    @cached_property
    def _closing(self) -> Closing:
        leaving = Leaving(
            course=self.course,
            figure=self.figure,
            allowed=self.compass.holds,
            spectrum=self.spectrum or MODERN_PIANO,
            to_be_clear=self.limit is Limit.CLEAR,
        )
        return Closing(leaving=leaving)

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
            link = self.course.sounding(self.course.near_at(place), place.link)
            known = clarity_of(link, self.spectrum or MODERN_PIANO)
            self._clarities[place] = known
        return known

    def _rated(self, link: Link) -> Link:
        if self.spectrum is None and self.limit is Limit.COMPASS:
            return link
        return replace(link, clarity=clarity_of(link, self.spectrum or MODERN_PIANO))
