"""Surprises: a link that breaks the pattern on purpose, at one place, and what was done to it.

Conventions: as in `endings_setting`. The chain goes on after it as if nothing had happened. Each
surprise is one that a listener of the style would notice (common practice): a third of the other
kind, a harmony that deceives, a hand an octave away. Randomness is handed in.
"""

from __future__ import annotations

import random  # noqa: TID251 -- only typed: dice are handed in, seeded
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.endings_course import OCTAVE_STAFF, Spelled
from livecont.sequence.endings_figure import RUNGS, Figure, root_of
from livecont.sequence.endings_harmony import Chord, fifth_on
from livecont.sequence.endings_leading import LOWER, UPPER
from livecont.sequence.endings_setting import as_it_sounds, settings_of
from livecont.sequence.endings_voices import joining_cost

MINOR_THIRD, MAJOR_THIRD, PERFECT_FIFTH = 3, 4, 7
THIRD_BELOW = -2
Allowed = Callable[[Sequence[int]], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Surprise:
    """A link's pitches, changed, and the change in words."""

    spelled: Spelled
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A link that is to surprise: its pitches, and the figure that it is taken apart into."""

    figure: Figure
    spelled: Spelled
    key: Key
    allowed: Allowed


def surprise(scene: Scene, dice: random.Random) -> Surprise | None:
    """Return the link with one of the surprises that are possible in it, chosen by the dice."""
    kinds = [_other_third, _other_harmony, _octave]
    dice.shuffle(kinds)
    for kind in kinds:
        found = kind(scene, dice)
        if found is not None and scene.allowed([s.midi for s in found.spelled if s is not None]):
            return found
    return None


def _other_third(scene: Scene, dice: random.Random) -> Surprise | None:
    """A minor triad made major or the other way round: a borrowed or an applied harmony."""
    cells = list(scene.figure.cells)
    dice.shuffle(cells)
    for cell in cells:
        root = root_of(cell, scene.spelled)
        notes = [s for n in cell.notes if n.away == 0 and (s := scene.spelled[n.tone.index])]
        third, fifth = ([s for s in notes if s.letter == (root + r) % 7] for r in RUNGS[1:])
        if not third or len({s.alter for s in third}) > 1:
            continue
        base = next((s for s in notes if s.letter == root), scene.key.natural(root))
        size = (third[0].midi - base.midi) % 12
        if any((s.midi - base.midi) % 12 != PERFECT_FIFTH for s in fifth):
            continue
        if size not in (MINOR_THIRD, MAJOR_THIRD):
            continue
        bend = 1 if size == MINOR_THIRD else -1
        spelled = list(scene.spelled)
        for note in cell.notes:
            was = spelled[note.tone.index]
            if was is not None and was.letter == third[0].letter:
                spelled[note.tone.index] = Spelling(was.staff, was.alter + bend)
        new = Spelling(third[0].staff, third[0].alter + bend)
        said = f"{new.letter_name} instead of {third[0].letter_name}"
        return Surprise(spelled=tuple(spelled), said=said)
    return None


def _other_harmony(scene: Scene, dice: random.Random) -> Surprise | None:
    """The last harmony deceives: the one a third below stands for it."""
    cells = scene.figure.cells
    if len(cells) < 2 or not _at_home(scene):
        return None
    cell, before = cells[-1], cells[-2]
    root = root_of(cell, scene.spelled)
    degree = scene.key.degree(root + THIRD_BELOW)
    if fifth_on(scene.key, degree) != PERFECT_FIFTH:
        return None
    chord = Chord(degree=degree, basses=(0,))
    earlier = as_it_sounds(before, scene.spelled, chord)
    options = [
        (setting.cost + joining_cost(earlier, setting), number, setting)
        for number, setting in enumerate(settings_of(cell, chord, scene.key, scene.spelled))
        if scene.allowed([note.pitch for note in setting.struck])
    ]
    if not options:
        return None
    spelled = list(scene.spelled)
    for index, pitch in min(options)[2].pitches:
        spelled[index] = pitch
    if tuple(spelled) == scene.spelled:
        return None
    was, now = (scene.key.natural(place).letter_name for place in (root, root + THIRD_BELOW))
    return Surprise(spelled=tuple(spelled), said=f"the harmony of {now} instead of {was}")


def _at_home(scene: Scene) -> bool:
    return all(s is None or s.alter == scene.key.signature_alter(s.staff) for s in scene.spelled)


def _octave(scene: Scene, dice: random.Random) -> Surprise | None:
    """The upper hand an octave away, where it meets neither the other hand nor the wall."""
    upper = {tone.index for tone in scene.figure.tones if tone.part == UPPER}
    lower = {tone.index for tone in scene.figure.tones if tone.part == LOWER}
    floor = max((s.midi for i in lower if (s := scene.spelled[i]) is not None), default=-1)
    ways = [1, -1]
    dice.shuffle(ways)
    for way in ways:
        spelled = tuple(
            Spelling(s.staff + way * OCTAVE_STAFF, s.alter) if s is not None and i in upper else s
            for i, s in enumerate(scene.spelled)
        )
        moved = [s.midi for i in upper if (s := spelled[i]) is not None]
        if moved and min(moved) > floor and scene.allowed(moved):
            who = "the upper hand" if lower else "the link"
            return Surprise(
                spelled=spelled, said=f"{who} an octave {'higher' if way > 0 else 'lower'}"
            )
    return None
