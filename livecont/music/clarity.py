"""Clarity: how well the ear can still follow what sounds, from psychoacoustics and trade custom.

Conventions: `pitch` is a MIDI number; a sonority is a sorted tuple of different pitches; clarity
is 0 (mud) to 1 (as clear as this instrument gets). Three things cloud a sonority:
- a voice loses its pitch: of the partials that tell it, fewer are resolved and they leave the
  region that dominates pitch (`definition`);
- the notes grow rough together beyond what the same sonority is in the middle
  (`excess_roughness`): a dissonance is no mud, but a third in the bass is;
- an interval lies below where the arranging trade would write it (`low_strain`): advice, of two
  sources that differ by up to eight semitones, so it weighs little.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from livecont.music.roughness import (
    Floats,
    bandwidth_glasberg,
    bandwidth_hutchinson,
    beating,
)
from livecont.music.spectrum import MODERN_PIANO, Spectrum, partials

# a sonority or link with less than this is mud: the clear limit
CLEAR = 0.5
LOWEST, HIGHEST = 12, 127
OCTAVE = 12
MIDDLE = 66.0  # halfway between C4 and C5
# what excess roughness takes clarity down by a factor e [fit to the low interval limits below]
EXCESS_SCALE = 0.4
# an octave below where the trade would write an interval costs this share of clarity
STRAIN_SHARE = 0.4
# partials are told apart from about so many bandwidths on (Plomp 1964; Moore & Ohgushi 1993)
RESOLVED_BANDS = 1.25
# spectral dominance and level, Terhardt, Stoll & Seewann (1982), from memory
DOMINANT_HZ, DOMINANCE, LEVEL_DB, FLOOR_DB = 700.0, 0.07, 15.0, 40.0

# Lowest sensible lower note by interval in semitones, middle C = 60. Two sources side by side:
# sweetwater.com/insync/low-interval-limit, and a rule from the harmonics of A0 as told in
# rec.music.theory, message 92484.
LOW_LIMITS: dict[int, tuple[int, ...]] = {
    1: (52,),
    2: (51,),
    3: (48, 49),
    4: (47, 45),
    5: (45, 40),
    6: (35,),
    7: (37, 33),
    8: (41, 49),
    9: (41, 40),
    10: (41,),
    11: (41,),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tables:
    """What is worked out once for an instrument, by pitch (and pitch)."""

    definition: tuple[float, ...]
    cross: tuple[tuple[float, ...], ...]  # beating between two notes; on the diagonal within one


def prepare(spectrum: Spectrum) -> None:
    """Work out an instrument's tables now, once, rather than at the first link."""
    _tables(spectrum)


def definition(pitch: int, spectrum: Spectrum = MODERN_PIANO) -> float:
    """Return how definite the pitch of a single note is, 0..1, 1 at the best key.

    Every resolved partial counts with its weight as a spectral pitch (Terhardt, Stoll & Seewann
    1982); the scale is made even by a square root.
    """
    return _tables(spectrum).definition[pitch]


def roughness(sonority: Sequence[int], spectrum: Spectrum = MODERN_PIANO) -> float:
    """Return the roughness of notes played together, after Hutchinson & Knopoff (1978)."""
    cross = _tables(spectrum).cross
    # looked up one by one: a sonority is too small for arrays to be faster
    beats = sum(cross[p][q] for i, p in enumerate(sonority) for q in sonority[i:])
    return beats / len(sonority)


def excess_roughness(sonority: Sequence[int], spectrum: Spectrum = MODERN_PIANO) -> float:
    """Return how much rougher a sonority is here than moved to the middle of the keyboard.

    >>> excess_roughness((36, 40, 43)) > 10 * excess_roughness((60, 64, 67))
    True
    """
    shift = round(MIDDLE - sum(sonority) / len(sonority))
    # a wide one goes no further than the keys that there are
    shift = min(HIGHEST - max(sonority), max(-min(sonority), shift))
    middle = [pitch + shift for pitch in sonority]
    return max(0.0, roughness(sonority, spectrum) - roughness(middle, spectrum))


def low_strain(sonority: Sequence[int]) -> float:
    """Return how many octaves the tightest interval lies below the trade's low limits.

    Neighbouring notes count, by their distance under an octave; the sources are averaged.

    >>> low_strain((36, 48)), low_strain((36, 39)) > low_strain((42, 45)) > 0
    (0.0, True)
    """
    worst = 0.0
    for low, high in pairwise(sonority):
        limits = LOW_LIMITS.get(high - low)
        if limits is not None:
            below = sum(max(0, limit - low) for limit in limits) / len(limits)
            worst = max(worst, below / 12)
    return worst


@lru_cache(maxsize=1 << 12)
def sonority_clarity(sonority: tuple[int, ...], spectrum: Spectrum = MODERN_PIANO) -> float:
    """Return the clarity of a sonority: its least definite voice, clouded by excess and strain.

    A note doubled at the octave above is as definite as its double.

    >>> sonority_clarity((60, 64, 67)) > CLEAR > sonority_clarity((28, 32, 35))
    True
    """
    table = _tables(spectrum).definition
    fused = (
        max(table[other] for other in sonority if other - pitch in (0, OCTAVE))
        for pitch in sonority
    )
    smooth = math.exp(-excess_roughness(sonority, spectrum) / EXCESS_SCALE)
    return min(fused) * smooth * max(0.0, 1 - STRAIN_SHARE * low_strain(sonority))


def clarity(
    moments: Iterable[tuple[float, tuple[int, ...]]], spectrum: Spectrum = MODERN_PIANO
) -> float:
    """Return the clarity of (duration, sonority) moments, each weighed by how long it sounds.

    Silent moments, of no pitch, do not count; nothing but silence is perfectly clear.
    """
    total = clear = 0.0
    for duration_s, sonority in moments:
        if sonority:
            total += duration_s
            clear += duration_s * sonority_clarity(sonority, spectrum)
    return clear / total if total > 0 else 1.0


@lru_cache(maxsize=8)
def _tables(spectrum: Spectrum) -> _Tables:
    pitches = range(LOWEST, HIGHEST + 1)
    salience = np.zeros(HIGHEST + 1)
    for pitch in pitches:
        salience[pitch] = _salience(spectrum, pitch)
    definition = np.sqrt(salience / salience.max())
    cross = _cross(spectrum, HIGHEST + 1)
    return _Tables(
        definition=tuple(definition.tolist()), cross=tuple(tuple(row) for row in cross.tolist())
    )


def _salience(spectrum: Spectrum, pitch: int) -> float:
    number, hz, amplitude = partials(spectrum, pitch)
    level_db = 20 * np.log10(amplitude / amplitude.max()) + FLOOR_DB
    place = hz / DOMINANT_HZ
    weight = (1 - np.exp(-level_db / LEVEL_DB)) / np.sqrt(1 + DOMINANCE * (place - 1 / place) ** 2)
    apart_bands = hz[0] / number[0] / bandwidth_glasberg(hz)
    return float((weight / (1 + (RESOLVED_BANDS / apart_bands) ** 4)).sum())


def _cross(spectrum: Spectrum, size: int) -> Floats:
    """Beating between the partials of any two notes, of power 1 each; only neighbours in pitch."""
    found = [partials(spectrum, pitch) for pitch in range(LOWEST, size)]
    owner = np.concatenate([np.full(len(f[1]), LOWEST + i) for i, f in enumerate(found)])
    hz = np.concatenate([f[1] for f in found])
    amplitude = np.concatenate([f[2] for f in found])
    order = np.argsort(hz, kind="stable")
    owner, hz, amplitude = owner[order], hz[order], amplitude[order]
    # beyond a band and a fifth nothing beats; a band is widest, for its frequency, at the lower end
    widest = 1.2 * bandwidth_hutchinson(hz)
    last = np.searchsorted(hz, hz + 1.6 * widest + 10)
    count = last - np.arange(len(hz)) - 1
    one = np.repeat(np.arange(len(hz)), count)
    other = one + 1 + np.arange(len(one)) - np.repeat(np.cumsum(count) - count, count)
    bands = (hz[other] - hz[one]) / bandwidth_hutchinson((hz[other] + hz[one]) / 2)
    beats = amplitude[one] * amplitude[other] * beating(bands)
    flat = np.bincount(owner[one] * size + owner[other], weights=beats, minlength=size * size)
    square = flat.reshape(size, size)
    return np.asarray(square + square.T - np.diag(np.diag(square)))
