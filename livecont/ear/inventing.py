"""Makes models of its own, in the style of the handbooks: two harmonies, led well, then figured.

A scheme gives the motion of the roots, a search the voices: triads in close position over a bass,
of all that can be chosen one of those that move least and make no parallel fifths or octaves,
inside the link and into the next (common practice). A texture then says what is struck of them and
when. Everything stays in the scale of the key, as the chain does while it runs.

Conventions: staff places as in `music.pitch`; a chord's voices are ordered from below, the bass
first. Chance is handed in; the same dice make the same model. Pure.
"""

from __future__ import annotations

import random  # noqa: TID251 -- only typed: dice are handed in, seeded
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from livecont.ear.matter import Matter, pattern_from
from livecont.music.key import Key
from livecont.music.label import Label, make_label
from livecont.music.pitch import Spelling, spelling
from livecont.sequence.pattern import Position

BEATS = 2  # each harmony lasts so many
TRIAD = (0, 2, 4)
PERFECT = (0, 4)  # unisons or octaves, and fifths, in places
UPPER_FROM, UPPER_TO = spelling("A3").staff, spelling("G5").staff
BASS_FROM, BASS_TO = spelling("E2").staff, spelling("D4").staff
WIDEST_BASS = 4  # places from bass note to bass note
PARALLEL_COST = 40
CHOICE = 4  # one of the best so many is taken

TRIPLE = tuple[int, int, int]
Figures = tuple[
    tuple[int, Fraction, Fraction], ...
]  # voice (-1: the bass), offset, length in beats


@dataclass(frozen=True, slots=True)
class Scheme:
    """How the roots move: inside a link, and from its second harmony to the next link."""

    name: str
    motions: tuple[int, int]

    @property
    def step_degrees(self) -> int:
        """The step from link to link."""
        return sum(self.motions)

    @property
    def label(self) -> Label:
        """The harmonic label."""
        return make_label(self.step_degrees, self.motions)


# the diatonic sequences of the handbooks, by what they are commonly called (music.label)
SCHEMES = {
    scheme.name: scheme
    for scheme in (
        Scheme("falling-fifths", (-4, 3)),
        Scheme("falling-thirds", (-3, 1)),
        Scheme("rising-seconds", (-2, 3)),
        Scheme("rising-fifths", (4, -3)),
        Scheme("rising-fourths", (3, -2)),
    )
}


def _figure(text: str, length: Fraction) -> Figures:
    """Read a row of voices, one after the other: '0 1 2 1'; '-' is a rest, '02' together."""
    found = []
    for place, signs in enumerate(text.split()):
        found += [(int(sign), place * length, length) for sign in signs if sign != "-"]
    return tuple(found)


HALF, QUARTER, THIRD = Fraction(1, 2), Fraction(1, 4), Fraction(1, 3)
_BASS: Figures = ((-1, Fraction(0), Fraction(BEATS)),)
_WALK: Figures = ((-1, Fraction(0), Fraction(1)), (-1, Fraction(1), Fraction(1)))
# what is struck of a harmony: the notes of the upper voices, 0 the lowest, and of the bass
TEXTURES: dict[str, tuple[Figures, ...]] = {
    "plain-line": (_figure("2 1", Fraction(1)), _figure("0 2", Fraction(1)),
                   _figure("1 2", Fraction(1))),
    "line": (_figure("0 1 2 1", HALF), _figure("2 1 0 1", HALF), _figure("0 2 1 2", HALF)),
    "two-voices": ((*_BASS, *_figure("2 1", Fraction(1))), (*_BASS, *_figure("2 0 1 2", HALF)),
                   (*_WALK, *_figure("0 1 2 1", HALF))),
    "broken": ((*_BASS, *_figure("0 1 2 1 0 1 2 1", QUARTER)),
               (*_BASS, *_figure("- 0 1 2 1 2 1 0", QUARTER)),
               (*_WALK, *_figure("0 1 2 0 1 2", THIRD))),
    "chords": ((*_BASS, *_figure("012", Fraction(BEATS))),
               (*_WALK, *_figure("012 012", Fraction(1))),
               (*_BASS, *_figure("- 012 - 012", HALF))),
}  # fmt: skip
VELOCITIES = {-1: 66, 0: 62, 1: 64, 2: 74}
TOUCH = 0.92


def invent(texture: str, scheme: Scheme, key: Key, beat_s: float, dice: random.Random) -> Matter:
    """Make a model and its copy.

    Args:
        texture: one of `TEXTURES`.
        scheme: how the roots move.
        key: major or minor; what is made lies in its natural scale.
        beat_s: a beat's length; a link has four.
        dice: what decides.

    A line alone leaves its harmonies open and gets no label.

    Raises:
        KeyError: there is no such texture.
    """
    figures = dice.choice(TEXTURES[texture])
    chords = _led(scheme, key, dice)
    unit = Fraction(2 * BEATS)
    positions = []
    for number, chord in enumerate(chords):
        for voice, offset, length in figures:
            staff = chord[0] if voice < 0 else chord[1 + voice]
            positions.append(
                Position(
                    offset_units=float((number * BEATS + offset) / unit),
                    articulation=float(TOUCH * length / unit),
                    velocity=VELOCITIES[voice],
                    channel=0,
                    heard=(key.natural(staff), key.natural(staff + scheme.step_degrees)),
                )
            )
    positions.sort(key=lambda one: (one.offset_units, _midi(one.heard[0])))
    return Matter(
        title=scheme.name.replace("-", " "),
        texture=texture,
        pattern=pattern_from(tuple(positions), scheme.step_degrees, key, float(unit) * beat_s),
        label=scheme.label if any(voice < 0 for voice, _, _ in figures) else None,
    )


def _midi(pitch: Spelling | None) -> int:
    return pitch.midi if pitch is not None else 0


def _led(scheme: Scheme, key: Key, dice: random.Random) -> tuple[tuple[int, ...], ...]:
    """Return a link's two chords, each bass, lower, middle, upper, in staff places."""
    degree = dice.choice((0, 2, 5) if scheme.step_degrees < 0 else (0, 3, 4))
    root = key.letter + degree
    # a falling chain begins high and a rising one low, so that there is room for it
    high = scheme.step_degrees < 0
    ranked = []
    for one in _voicings(root):
        for two in _voicings(root + scheme.motions[0]):
            following = tuple(staff + scheme.step_degrees for staff in one)
            cost = _moving(one, two) + _moving(two, following)
            middle = sum(one[1:]) / 3 - (UPPER_FROM + UPPER_TO) / 2
            ranked.append((cost - (1 if high else -1) * 1.5 * middle, one, two))
    ranked.sort()
    _, one, two = dice.choice(ranked[:CHOICE])
    return one, two


def _voicings(root: int) -> Iterator[tuple[int, ...]]:
    """Yield triads in close position over their roots, in the places of the staff."""
    for bass in range(BASS_FROM, BASS_TO + 1):
        if (bass - root) % 7:
            continue
        for lowest in range(UPPER_FROM, UPPER_TO - 3):
            place = (lowest - root) % 7
            if place not in TRIAD:
                continue
            above = {0: (0, 2, 4), 2: (0, 2, 5), 4: (0, 3, 5)}[place]
            upper = tuple(lowest + rung for rung in above)
            if upper[-1] <= UPPER_TO and bass < lowest:
                yield (bass, *upper)


def _moving(one: tuple[int, ...], two: tuple[int, ...]) -> float:
    """What it costs to go from one chord to another."""
    cost = float(sum(abs(b - a) for a, b in zip(one[1:], two[1:], strict=True)))
    cost += max(0, abs(two[0] - one[0]) - WIDEST_BASS) * 2
    for i, j in combinations(range(4), 2):
        before, after = one[j] - one[i], two[j] - two[i]
        if before % 7 == after % 7 and before % 7 in PERFECT and one[i] != two[i]:
            cost += PARALLEL_COST
    return cost
