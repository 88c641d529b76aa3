"""Folding and turning: where a chain leaps by octaves, and where it turns back.

Conventions: places as in `endings_course`; costs are bare numbers that only compare. A walk asks
`fits` whether the chain may stand at a place; it looks a few links ahead, so that it acts before
the wall where that sounds better, not always at it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from livecont.music.pitch import Spelling
from livecont.sequence.endings_course import Course, Place, Spelled
from livecont.sequence.endings_figure import DISSONANT, Figure, groups, root_of
from livecont.sequence.endings_leading import LOWER, UPPER, Outer, awkward, forbidden, outer_pairs
from livecont.sequence.pattern import Role

# a leap or turn may come so many links before the limit, where that sounds better ...
LINKS_AHEAD = 3
# ... but every link given up costs this
EARLY_COST = 0.15
MOST_OCTAVES = 3
# how many links a leap should leave room for, at most
ROOM_LINKS = 6

Fits = Callable[[Place, Place | None], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """A course to walk on, and what is known of the way.

    `fits(place, before)` says whether a link may sound at a place, coming from another;
    `clarity(place)` how clear it is there.
    """

    course: Course
    figure: Figure
    fits: Fits
    clarity: Callable[[Place], float]

    def room(self, place: Place, most: int) -> int:
        """Return about how many links in a row fit after a place, at most `most`."""
        for count in range(most):
            following = place.on()
            if not self.fits(following, place):
                return count
            place = following
        return most

    def links_ahead(self, place: Place, most: int = LINKS_AHEAD) -> int:
        """Return how many links may follow, at most `most`; whether the next may is certain."""
        self.course.spelled(place.link + 1)
        return self.room(place, most)


def folding(walk: Walk) -> Iterator[tuple[Place, Role]]:
    """Yield places without end: step by step, and leaps by octaves where they sound best.

    It ends only where no octave has room for the next link.
    """
    place = Place(walk.course.last_heard)
    while True:
        ahead = walk.links_ahead(place)
        landing = _landing(walk, place, ahead)
        if landing is not None:
            yield landing, Role.FOLDED
            place = landing
        elif ahead > 0:
            place = place.on()
            yield place, Role.CHAIN
        else:
            return


def turning(walk: Walk) -> Iterator[tuple[Place, Role]]:
    """Yield places step by step to the limit, then back to the first link known.

    The chain turns at the best of the last few places; it never turns before its first link.
    """
    place = Place(walk.course.last_heard)
    while True:
        ahead = walk.links_ahead(place)
        if ahead < LINKS_AHEAD and _turns_here(walk, place, ahead):
            break
        place = place.on()
        yield place, Role.CHAIN
    while place.link > walk.course.first_known:
        place = place.on(-1)
        if not walk.fits(place, None):
            return
        yield place, Role.TURNED


# --- folding ------------------------------------------------------------------------------------


def _landing(walk: Walk, place: Place, ahead: int) -> Place | None:
    """Where to leap to now; None where going on is possible and better."""
    if ahead >= LINKS_AHEAD:
        return None
    now = _best_leap(walk, place, ahead)
    if now is None:
        return None
    later = [_best_leap(walk, place.on(n), ahead - n) for n in range(1, ahead + 1)]
    if any(leap is not None and leap[0] < now[0] for leap in later):
        return None
    return now[1]


def _best_leap(walk: Walk, place: Place, ahead: int) -> tuple[float, Place] | None:
    """The cheapest leap after a place, with its cost."""
    down = walk.course.lap_octaves < 0 or walk.course.pattern.step_degrees < 0
    options = []
    for octaves in range(1, MOST_OCTAVES + 1):
        landing = place.on(1, octaves if down else -octaves)
        if walk.fits(landing, None):
            options.append((_leap_cost(walk, place, landing) + EARLY_COST * ahead, landing))
    return min(options, default=None)


def _leap_cost(walk: Walk, place: Place, landing: Place) -> float:
    """What speaks against a leap: mud, wide joins, a strange register, little room after it."""
    course = walk.course
    model, here = course.pitches(Place(course.first_known)), course.pitches(landing)
    register = abs(_mean(here) - _mean(model)) / 12
    last, first = _join(walk, place, landing)
    wide = sum(max(0, abs(b - a) - 12) for a, b in zip(last, first, strict=True)) / 12
    room = walk.room(landing, ROOM_LINKS)
    # the model comes again where it was: the circle has closed
    home = (landing.link - course.first_known) % course.lap == 0
    # links go in pairs (common practice): better to leap after the second
    pair = (landing.link - course.first_known) % 2 == 0
    return (
        2 * (1 - walk.clarity(landing))
        + 0.3 * register
        + 0.2 * wide
        + 0.6 * (1 - room / ROOM_LINKS)
        - 0.3 * home
        - 0.1 * pair
    )


def _join(walk: Walk, place: Place, following: Place) -> tuple[Outer, Outer]:
    """The outer voices at the end of a link and at the start of the next."""
    return _outer(walk, place)[-1], _outer(walk, following)[0]


def _outer(walk: Walk, place: Place) -> list[Outer]:
    notes = walk.figure.struck(walk.course.near_at(place))
    pairs = outer_pairs(notes)
    # a single line is its own lowest and highest voice
    return pairs or [Outer(note.pitch, note.pitch) for note in notes]


def _mean(pitches: tuple[int, ...]) -> float:
    return sum(pitches) / max(1, len(pitches))


# --- turning ------------------------------------------------------------------------------------


def _turns_here(walk: Walk, place: Place, ahead: int) -> bool:
    """Whether to turn after this place rather than after one of those still ahead."""
    if place.link <= walk.course.last_heard and ahead > 0:
        return False
    now = _turn_cost(walk, place) + EARLY_COST * ahead
    later = (_turn_cost(walk, place.on(n)) + EARLY_COST * (ahead - n) for n in range(1, ahead + 1))
    return all(now <= cost for cost in later)


def _turn_cost(walk: Walk, place: Place) -> float:
    """What speaks against turning after a link: bad joins, awkward leaps, harmonies that limp."""
    course = walk.course
    last, first = _join(walk, place, place.on(-1))
    cost = 2.0 * forbidden(last, first) + _awkwardness(last, first)
    cells = walk.figure.cells
    if cells:
        away = root_of(cells[-1], course.near_at(place))
        back = root_of(cells[0], course.near_at(place.on(-1)))
        cost += ROOT_MOTION_COST[(back - away) % 7]
        tonic = course.pattern.key.letter
        # a turn is felt as an arrival: tonic or dominant bear it best
        cost += {0: 0.0, 4: 0.05}.get((away - tonic) % 7, 0.2)
    return cost


def _awkwardness(last: Outer, first: Outer) -> float:
    return sum(0.4 * awkward(b - a) for a, b in zip(last, first, strict=True))


# from one root to the next, by places up: what common practice likes less costs more
ROOT_MOTION_COST = {0: 0.3, 1: 0.1, 2: 0.35, 3: 0.0, 4: 0.15, 5: 0.1, 6: 0.25}


# --- on the way back ----------------------------------------------------------------------------


def turned(walk: Walk, place: Place) -> Spelled:
    """Return the pitches of a link on the way back.

    They are those it had on the way there, but for dissonances at its start that were prepared by
    the link before and fall: nothing prepares them now. They give way to the note that the link
    now before ends on, so that a chain of 7-6 suspensions comes back in 5-6 (common practice).
    """
    spelled = list(walk.course.at(place))
    for suspended, preparing in _suspensions(walk):
        prepared = walk.course.at(place.on())[preparing]
        bass = _bass(walk.figure, spelled)
        if prepared is None or bass is None:
            continue
        if (prepared.staff - bass.staff) % 7 not in DISSONANT:
            spelled[suspended] = prepared
    return tuple(spelled)


def _bass(figure: Figure, spelled: Sequence[Spelling | None]) -> Spelling | None:
    first = groups(figure.tones)[:1]
    pitches = [s for group in first for t in group if (s := spelled[t.index]) is not None]
    return min(pitches, key=lambda s: s.midi, default=None)


def _suspensions(walk: Walk) -> list[tuple[int, int]]:
    """Notes at the link's start that are prepared before and fall, with what prepares each."""
    step = walk.course.pattern.step_degrees
    bass = min((t.staff for group in groups(walk.figure.tones)[:1] for t in group), default=0)
    found = []
    for part in (LOWER, UPPER):
        line = groups([tone for tone in walk.figure.tones if tone.part == part])
        if len(line) < 2:
            continue
        for tone in line[0]:
            dissonant = (tone.staff - bass) % 7 in DISSONANT
            falls = any(following.staff == tone.staff - 1 for following in line[1])
            prepared = [t.index for t in line[-1] if t.staff - step == tone.staff]
            if dissonant and falls and prepared:
                found.append((tone.index, prepared[0]))
    return found
