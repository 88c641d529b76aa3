"""The last tonic: which notes it has after a given dominant, in the texture of the figure.

Conventions: as in `endings_setting`. Common practice: the bass has the root, the highest voice the
tonic, every leading tone rises to the tonic beside it; a texture of chords or broken chords ends on
a chord with its third, two plain voices on the bare tonic, a single line on one note.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.endings_figure import Figure, groups
from livecont.sequence.endings_harmony import FINAL
from livecont.sequence.endings_leading import LOWER, UPPER, Struck, outer_pairs
from livecont.sequence.endings_setting import Setting

HAND_SPAN = 12
LEAP_PLACES = 2
# of a line's steps, how many are leaps where it is a broken chord
BROKEN_SHARE = 0.5
FULL_NOTES = 4
LEAP_COST = 0.15
FAR_BASS_COST = 0.1
CLOSE_HANDS = 3
# the bass of an ending rather falls a fifth than rises a fourth, and has room above it
RISING_BASS_COST = 0.1
CROWDED_COST = 0.1
UNISON_COST = 2.0
THIN_COST = 0.3
NO_THIRD_COST = 0.3
FIFTH = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """How full a figure is: which hands play, and how many notes its last chord has."""

    hands: tuple[int, ...]
    notes: int


def texture_of(figure: Figure) -> Texture:
    """Return how full a figure is."""
    hands = tuple(p for p in (LOWER, UPPER) if any(t.part == p for t in figure.tones))
    most = sum(_together(figure, part) for part in hands)
    if len(hands) > 1 and any(_broken(figure, part) for part in hands):
        most = max(most, FULL_NOTES)
    return Texture(hands=hands, notes=most)


def _together(figure: Figure, part: int) -> int:
    """The most notes that a hand strikes together."""
    struck = groups([tone for tone in figure.tones if tone.part == part])
    return max((len(group) for group in struck), default=0)


def _broken(figure: Figure, part: int) -> bool:
    """Whether a hand plays broken chords: inside a harmony it mostly leaps, not by octaves."""
    steps = []
    for cell in figure.cells:
        struck = groups([note.tone for note in cell.part(part)])
        tops = [max(tone.staff for tone in group) for group in struck]
        steps += [abs(b - a) for a, b in pairwise(tops) if (a - b) % 7]
    leaps = sum(step >= LEAP_PLACES for step in steps)
    return len(steps) > 1 and leaps > BROKEN_SHARE * len(steps)


def finals(before: Setting, key: Key, texture: Texture, offset: float) -> Iterator[Setting]:
    """Yield last tonics after a setting; their pitches carry the hand instead of a position."""
    for top in _tops(before, key):
        if LOWER not in texture.hands:
            yield _final([], [top], offset, before, texture)
            continue
        above = {s for s in _resolutions(before, key, UPPER) if 0 <= top.midi - s.midi <= HAND_SPAN}
        for bass in _basses(before, key):
            below = {s for s in _resolutions(before, key, LOWER) if s.midi - bass.midi > 0}
            lower = {bass} | {s for s in below if s.midi <= bass.midi + HAND_SPAN} - {top}
            # with third and fifth below the tonic, or, where that is mud, with the fifth only
            for places in ((-5, -3), (-3,)):
                upper = _filled({top} | above, lower, key, texture.notes, places)
                yield _final(sorted(lower), sorted(upper), offset, before, texture)


def _tops(before: Setting, key: Key) -> list[Spelling]:
    """Tonics for the highest voice: what the leading tone rises to, else the nearest ones."""
    resolved = _resolutions(before, key, UPPER)
    if resolved:
        return [max(resolved)]
    last = before.last(UPPER)
    near = _tonics(key, last if last is not None else 60)
    return near[:2]


def _basses(before: Setting, key: Key) -> list[Spelling]:
    last = before.first(LOWER)
    return _tonics(key, last if last is not None else 48)[:2]


def _tonics(key: Key, near: int) -> list[Spelling]:
    """The tonics nearest to a pitch, nearest first."""
    every = [key.natural(key.letter + 7 * octave) for octave in range(11)]
    return sorted(every, key=lambda s: abs(s.midi - near))


def _resolutions(before: Setting, key: Key, part: int) -> set[Spelling]:
    """The tonics that the leading tones of a hand rise to."""
    return {
        s
        for leading in before.leading_tones(key, part)
        for s in _tonics(key, leading + 1)[:1]
        if s.midi == leading + 1
    }


def _filled(
    upper: set[Spelling], lower: set[Spelling], key: Key, count: int, places: tuple[int, ...]
) -> set[Spelling]:
    """The upper hand's notes and others so many places below the tonic, where there is room."""
    top = max(upper)
    floor = max(lower).midi + CLOSE_HANDS
    filled = set(upper)
    for place in places:
        note = key.natural(top.staff + place)
        if len(filled | lower) < count and note.midi >= floor:
            filled.add(note)
    return filled


def _final(
    lower: Sequence[Spelling],
    upper: Sequence[Spelling],
    offset: float,
    before: Setting,
    texture: Texture,
) -> Setting:
    pitches = (*((LOWER, s) for s in lower), *((UPPER, s) for s in upper))
    tonic = upper[-1].letter
    bare = (tonic, (tonic + 4) % 7)
    struck = tuple(Struck(offset, part, s.midi) for part, s in pitches)
    cost = THIN_COST * max(0, texture.notes - len(pitches))
    if texture.notes >= FULL_NOTES:
        cost += NO_THIRD_COST * all(s.letter in bare for _, s in pitches)
    last = before.last(UPPER)
    if last is not None:
        cost += LEAP_COST * max(0, abs(upper[-1].midi - last) - 2) / 3
    bass = before.first(LOWER)
    if bass is not None and lower:
        leap = lower[0].midi - bass
        cost += FAR_BASS_COST * max(0, abs(leap) - 7) + RISING_BASS_COST * (leap > 0)
    if lower:
        cost += CROWDED_COST * (upper[0].midi - lower[-1].midi < FIFTH)
        cost += UNISON_COST * (upper[-1].midi <= lower[0].midi)
    pairs = tuple(outer_pairs(struck))
    return Setting(chord=FINAL, pitches=pitches, struck=struck, pairs=pairs, cost=cost)
