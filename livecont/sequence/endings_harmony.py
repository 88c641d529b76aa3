"""The harmonies of a cadence, and what they cost after a chain.

Conventions: degrees from 0 (tonic) to 6; `basses` are the places in the triad that may lie lowest
(0 root, 1 third, 2 fifth). Costs only compare. Everything here is common practice: what handbooks
of harmony say of cadences and of the motions of roots.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.pitch import Spelling, spell_at

SECOND_DEGREE, FOURTH_DEGREE, DOMINANT, SEVENTH_DEGREE = 1, 3, 4, 6
DIMINISHED_FIFTH = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Chord:
    """A harmony of a cadence; `leading` where the seventh degree is raised to a leading tone."""

    degree: int
    basses: tuple[int, ...]
    leading: bool = False
    final: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cadence:
    """A cadence: the harmonies of each of its links, one for each of the link's cells.

    The last is the final tonic, which takes the rest of its link. `cost` is what speaks against
    it wherever it comes.
    """

    links: tuple[tuple[Chord, ...], ...]
    cost: float

    @property
    def chords(self) -> tuple[Chord, ...]:
        """The harmonies in order."""
        return tuple(chord for link in self.links for chord in link)


SUBDOMINANT = Chord(degree=FOURTH_DEGREE, basses=(0,))
SIX_FOUR = Chord(degree=0, basses=(2,))
FINAL = Chord(degree=0, basses=(0,), final=True)

# what a step of the root by so many places up costs before the dominant comes
ROOT_MOTION_COST = {0: 0.5, 1: 0.2, 2: 0.6, 3: 0.0, 4: 0.35, 5: 0.1, 6: 0.4}
# what leads into the dominant, by degree
INTO_DOMINANT = {0: 0.2, 1: 0.0, 2: 0.5, 3: 0.0, 4: 0.5, 5: 0.25, 6: 0.6}
INTO_SIX_FOUR = {0: 0.9, 1: 0.0, 2: 0.9, 3: 0.0, 4: 1.2, 5: 0.2, 6: 0.9}
# after the dominant one does not go back
RETROGRESSION = 0.5
INSIDE_LINK_COST = 0.3
LONGER_COST = 0.1
# the chain itself goes on so: it leads into the cadence
NATURAL_LINK = -0.4
NATURAL_CHORD = -0.2
ARRIVED = -0.3


def dominant_of(key: Key) -> Chord:
    """Return what leads to the tonic: the dominant, or where its fifth is false the seventh degree.

    So in the phrygian and locrian modes, whose second degree falls to the tonic in the bass.
    """
    if (
        fifth_on(key, DOMINANT) == DIMINISHED_FIFTH
        and key.natural(key.letter + 1).midi - (key.natural(key.letter).midi) == 1
    ):
        return Chord(degree=SEVENTH_DEGREE, basses=(1,))
    return Chord(degree=DOMINANT, basses=(0,), leading=True)


def supertonic_of(key: Key) -> Chord:
    """Return the chord of the second degree, in first inversion only where it is diminished."""
    diminished = fifth_on(key, SECOND_DEGREE) == DIMINISHED_FIFTH
    return Chord(degree=SECOND_DEGREE, basses=(1,) if diminished else (0, 1))


def fifth_on(key: Key, degree: int) -> int:
    """Return the semitones of the fifth that the scale has on a degree."""
    root = key.letter + degree
    return key.natural(root + 4).midi - key.natural(root).midi


def leading_tone(key: Key, staff: int) -> Spelling:
    """Return the seventh degree at a place of the staff, a semitone below the tonic."""
    tonic = key.natural(staff + 1)
    return spell_at(tonic.midi - 1, staff)


def cadences(cells: int, key: Key) -> Iterator[Cadence]:
    """Yield the cadences that suit a link of so many harmonies."""
    dominant = dominant_of(key)
    before = (supertonic_of(key), SUBDOMINANT)
    yield Cadence(links=((FINAL,),), cost=0.0)
    if cells == 1:
        yield Cadence(links=((dominant,), (FINAL,)), cost=0.0)
        for chord in before:
            yield Cadence(links=((chord,), (dominant,), (FINAL,)), cost=LONGER_COST)
        return
    half = (cells + 1) // 2
    rest = (dominant,) * (cells - half)
    for chord in before:
        yield Cadence(links=((*(chord,) * half, *rest), (FINAL,)), cost=0.0)
    if dominant.leading:
        yield Cadence(
            links=((*_before_six_four(cells, key), SIX_FOUR, dominant), (FINAL,)), cost=0.0
        )
    yield Cadence(links=((*(dominant,) * half, FINAL),), cost=INSIDE_LINK_COST)


def _before_six_four(cells: int, key: Key) -> tuple[Chord, ...]:
    """What comes before the six-four chord in a link of so many harmonies."""
    second = supertonic_of(key)
    return (SUBDOMINANT, *(second,) * (cells - 3)) if cells > 3 else (second,) * (cells - 2)


def leaving_cost(
    cadence: Cadence, last_degree: int, arrives: bool, natural: tuple[int, ...]
) -> float:
    """Return what speaks against a cadence after a link, harmony for harmony.

    Args:
        cadence: the cadence.
        last_degree: of the root on which the link ends.
        arrives: whether it ends on a dominant that may resolve.
        natural: the degrees that the chain would have next, one for each cell.
    """
    first = cadence.chords[0]
    if first.final:
        return cadence.cost + (ARRIVED if arrives else 9.0)
    if first.leading:
        cost = INTO_DOMINANT[last_degree]
    elif first == SIX_FOUR:
        cost = INTO_SIX_FOUR[last_degree]
    else:
        cost = ROOT_MOTION_COST[(first.degree - last_degree) % 7]
        cost += RETROGRESSION if last_degree == DOMINANT else 0.0
    planned = tuple(chord.degree for chord in cadence.links[0])
    if planned == natural:
        cost += NATURAL_LINK
    elif natural and planned[0] == natural[0]:
        cost += NATURAL_CHORD
    return cadence.cost + cost
