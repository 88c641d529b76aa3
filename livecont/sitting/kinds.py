"""The step counted the other way while a chain sounds: tonal made real, real made tonal. Pure.

The player hears the chain go on from where it is. Counted in semitones, the next link is the last
one moved as most notes of the player's own links moved. Counted within the key, it follows the link
of the player's own course that lies nearest, so that its accidentals are those that belong there
and the way back from a real chain that has drifted is no leap.

Conventions: links are numbered from 1, the model; pitches are spelled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from livecont.music.pitch import spell_at
from livecont.sequence.endings_course import Course, Place, Spelled
from livecont.sequence.endings_kind import of_kind
from livecont.sequence.pattern import Kind, Link, Pattern, Role

# how far a real chain can drift from the tonal one within a compass
MOST_OCTAVES = 3


def other_kind(pattern: Pattern) -> Pattern:
    """Return the pattern with its step counted the other way; the links heard stay."""
    return of_kind(pattern, Kind.TONAL if pattern.kind is Kind.REAL else Kind.REAL)


def going_on(wanted: Pattern, course: Course, sent: Sequence[Link]) -> Pattern:
    """Return a pattern whose next link follows the latest of those sent, by the step as wanted.

    `course` is that of the chain so far. What was changed on purpose in the latest link is left
    out of account: the chain goes on as if nothing had happened. The pattern's links heard are the
    latest one and the one that would be before it by the same step.
    """
    number = sent[-1].number
    here = course.at(Place(number, _octaves(course, sent)))
    shift = wanted.shift_semitones
    if wanted.kind is Kind.REAL and shift is not None:
        before = tuple(
            None if s is None else spell_at(s.midi - shift, s.staff - wanted.step_degrees)
            for s in here
        )
        return _with(wanted, before, here, number)
    own = Course(wanted)
    first = own.last_heard
    places = (
        Place(link, octaves)
        for octaves in range(-MOST_OCTAVES, MOST_OCTAVES + 1)
        for link in range(first, first + own.lap)
    )
    nearest = min(places, key=lambda place: _apart(own.near_at(place), here))
    return _with(wanted, own.at(nearest.on(-1)), own.at(nearest), number)


def unchanged(course: Course, links: Sequence[Link]) -> Link:
    """Return the latest of some links as it would be without what is changed in it on purpose.

    On the way back of a chain that turns it stays as it is: there it isn't known.
    """
    link = links[-1]
    if link.role not in (Role.CHAIN, Role.FOLDED):
        return link
    spelled = course.at(Place(link.number, _octaves(course, links)))
    plain = course.sounding(spelled, link.number)
    return replace(plain, role=link.role, clarity=link.clarity)


def _with(pattern: Pattern, before: Spelled, here: Spelled, number: int) -> Pattern:
    positions = tuple(
        replace(position, heard=(earlier, latest))
        for position, earlier, latest in zip(pattern.positions, before, here, strict=True)
    )
    return replace(pattern, positions=positions, links_heard=number, before=())


def _octaves(course: Course, sent: Sequence[Link]) -> int:
    """By how many octaves a folding chain has been moved."""
    plain = next((link for link in reversed(sent) if link.changed is None), sent[0])
    spelled = [s for s in course.spelled(plain.number) if s is not None]
    if not spelled or not plain.notes:
        return 0
    return round((plain.lowest - min(s.midi for s in spelled)) / 12)


def _apart(one: Spelled, other: Spelled) -> int:
    pairs = zip(one, other, strict=True)
    return sum(abs(a.midi - b.midi) for a, b in pairs if a is not None and b is not None)
