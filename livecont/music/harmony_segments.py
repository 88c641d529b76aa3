"""Where the harmonies of a link change, and what their roots are: `harmonies`.

After Pardo & Birmingham (2002), with all links weighed together, each moved back by the step.

Conventions: as in `harmony_notes`; the result is in the frame of link 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log2

import numpy as np

from livecont.music.harmony_features import PLACES, Frame, features
from livecont.music.harmony_notes import LinkTone, Tone, tones_of
from livecont.music.harmony_paths import Way, ways
from livecont.music.harmony_weights import WEIGHTS, Weights
from livecont.music.key import Key

# people tap along with sequences some 100 times a minute (Parncutt 1994)
BEAT_S = 0.6
BEATS = (2, 3, 4, 6, 8, 12, 16)
MOST_TIMES = 12
# where harmonies change most: at halves, thirds, quarters ... of the link
PARTS = (2, 3, 4, 6, 8, 12)
ON_PART = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A harmony of the link: when it begins (units, 0..1), its root's letter in link 1's frame."""

    start_units: float
    root: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One way to hear a link's harmonies; `merit` compares it with others, in beats of a voice."""

    cuts: tuple[Cut, ...]
    merit: float

    def motions(self, step: int) -> tuple[int, ...]:
        """Return how the roots move, the last into the next link."""
        roots = [cut.root for cut in self.cuts]
        return tuple(b - a for a, b in pairwise((*roots, roots[0] + step)))


def readings(
    notes: tuple[LinkTone, ...],
    step: int,
    key: Key,
    unit_s: float,
    weights: Weights = WEIGHTS,
) -> tuple[Reading, ...]:
    """Return the ways to hear a link's harmonies, the likeliest first; none where nothing sounds.

    Args:
        notes: the link's notes, with their pitches in every link heard.
        step: staff places from link to link.
        key: for what the notes leave open.
        unit_s: how long a link is, for the beat.
        weights: parameters.
    """
    tones, times = tones_of(notes, step)
    if not tones:
        return ()
    frame = frame_of(notes, (tones, _fewer(tones, times)), step, key, beats_in(unit_s, times))
    merit = features(frame) @ np.array(weights.vector)
    return tuple(_reading(way, frame) for way in ways(merit, weights.motion, step))


def frame_of(
    notes: Sequence[LinkTone],
    heard_as: tuple[tuple[Tone, ...], tuple[float, ...]],
    step: int,
    key: Key,
    beats: float,
) -> Frame:
    """Return a link ready to be cut."""
    tones, times = heard_as
    fifths = [_fifths(notes, step, key, root) for root in range(PLACES)]
    return Frame(
        tones=tones,
        times=times,
        beats=beats,
        step=step,
        diminished=tuple(sum(f <= 6 for f in one) / len(one) for one in fifths),
        augmented=tuple(sum(f >= 8 for f in one) / len(one) for one in fifths),
    )


def _fifths(notes: Sequence[LinkTone], step: int, key: Key, root: int) -> list[int]:
    """The semitones of the fifth on a root in each link, by what sounds there, else by the key."""
    found = []
    for k in range(len(notes[0].heard)):
        low, high = root + k * step, root + k * step + 4
        alters: dict[int, int] = {}
        for note in notes:
            heard = note.heard[k]
            if heard is not None:
                alters.setdefault(heard.letter, heard.alter)
        away = key.natural(high).midi - key.natural(low).midi
        away += alters.get(high % PLACES, key.signature_alter(high)) - key.signature_alter(high)
        away -= alters.get(low % PLACES, key.signature_alter(low)) - key.signature_alter(low)
        found.append(away)
    return found


def beats_in(unit_s: float, times: Sequence[float]) -> float:
    """Return how many beats a link has: near the usual tempo, and where notes begin."""

    def misfit(beats: int) -> float:
        on_grid = sum(abs(t * beats - round(t * beats)) < 0.1 for t in times)
        return abs(log2(unit_s / beats / BEAT_S)) + 0.5 * (
            1.0 - on_grid / max(1, min(beats, len(times)))
        )

    return float(min(BEATS, key=misfit))


def _fewer(tones: Sequence[Tone], times: tuple[float, ...]) -> tuple[float, ...]:
    """At most `MOST_TIMES` boundaries: those where most begins, and at plain parts of the link."""
    if len(times) <= MOST_TIMES:
        return times
    begun = {at: sum(t.share * t.length for t in tones if abs(t.start - at) < 1e-9) for at in times}
    most = max(begun.values())

    def worth(at: float) -> float:
        return begun[at] / most + sum(abs(at * p - round(at * p)) < ON_PART for p in PARTS) / 4

    return tuple(sorted(sorted(times, key=worth, reverse=True)[:MOST_TIMES]))


def _reading(way: Way, frame: Frame) -> Reading:
    """Bring a way into the link: what begins past its end begins in it, a step back."""
    n = len(frame.times)
    cuts = []
    for bound, root in zip(way.bounds, way.roots, strict=True):
        lap, at = divmod(bound, n)
        cuts.append(Cut(start_units=frame.times[at], root=(root - lap * frame.step) % PLACES))
    cuts.sort(key=lambda cut: cut.start_units)
    return Reading(cuts=tuple(cuts), merit=way.merit)
