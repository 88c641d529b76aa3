"""The way back: by so many links, and leaps by octaves, that the last link is the composer's own.

After a lap of the course a link has the pitches of the one it began with, octaves away. Leaps on
the way make up for these, so that the piece goes on at pitch from what it went on from.

Conventions: places as in `endings_course`; costs compare.
"""

from __future__ import annotations

from livecont.music.compass import Compass
from livecont.sequence.endings_course import Course, Place

Steps = tuple[tuple[Place, bool], ...]  # each place, and whether it is leapt to by octaves

MOST_LAPS = 4
MOST_LINKS = 64
# a leap costs as much as a link that lies so many semitones away from where the last one heard did
LEAP_COST = 6.0**2 / 10


def way_back(course: Course, compass: Compass, wanted: int | None) -> Steps | None:
    """Return the links that lead back to the last link heard, where there is a way.

    Args:
        course: the chain's.
        compass: every link has to have its keys.
        wanted: how many links about; the fewest where None.
    """
    laps = [n * course.lap for n in range(1, MOST_LAPS + 1) if n * course.lap <= MOST_LINKS]
    for count in sorted(laps, key=lambda links: abs(links - (wanted or 0))):
        found = _by_octaves(course, compass, count)
        if found is not None:
            return found
    return None


def _by_octaves(course: Course, compass: Compass, count: int) -> Steps | None:
    """Return the cheapest places of so many links: near home, with as few leaps as need be."""
    home, last = course.last_heard, count // course.lap * course.lap_octaves
    towards = -1 if last > 0 else 1
    middle = _middle(course.pitches(Place(home)))
    ways: dict[int, tuple[float, Steps]] = {0: (0.0, ())}
    for number in range(home + 1, home + count):
        following: dict[int, tuple[float, Steps]] = {}
        for octaves, (cost, way) in ways.items():
            for leap in (0, towards):
                place = Place(number, octaves + leap)
                if abs(place.octaves) > abs(last) or not _fits(course, compass, place):
                    continue
                away = _middle(course.pitches(place)) - middle
                total = cost + away * away / 100 + (LEAP_COST if leap else 0.0)
                if place.octaves not in following or total < following[place.octaves][0]:
                    following[place.octaves] = total, (*way, (place, bool(leap)))
        ways = following
    # the last link is the composer's own again, as it stands
    ends = [
        (cost + (LEAP_COST if octaves != -last else 0.0), (*way, (Place(home), octaves != -last)))
        for octaves, (cost, way) in ways.items()
        if octaves in (-last, -last - towards)
    ]
    return min(ends, key=lambda end: end[0])[1] if ends else None


def _fits(course: Course, compass: Compass, place: Place) -> bool:
    pitches = [s.midi for s in course.at(place) if s is not None]
    return bool(pitches) and compass.holds(pitches)


def _middle(pitches: tuple[int, ...]) -> float:
    return sum(pitches) / max(1, len(pitches))
