"""Roughness of sounding together, after published psychoacoustics.

Conventions: frequencies in hertz, amplitudes linear, both as arrays of partials; a roughness is a
bare number, 0 for none. Two partials beat roughly where they lie within one critical band, most of
all about a quarter of a band apart (Plomp & Levelt 1965). Two models of what many partials do
together: Hutchinson & Knopoff (1978), relative to the power of the whole; Sethares (1993),
absolute. Nothing here knows instruments or keys.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bandwidth = Callable[[Floats], Floats]

# Mashinter's approximation of the curve that Hutchinson & Knopoff (1978) give as a table
PEAK_BANDS, WIDEST_BANDS = 0.25, 1.2
# Sethares (1993): where the peak lies, how it widens with frequency, two decays and their weight
SETHARES = {"peak": 0.24, "per_hz": 0.0207, "offset": 18.96, "slow": 3.51, "fast": 5.75, "both": 5}


def pitch_hz(pitch_midi: ArrayLike) -> Floats:
    """Return frequencies in equal temperament, A4 = 440 Hz."""
    return np.asarray(440.0 * 2.0 ** ((np.asarray(pitch_midi, dtype=np.float64) - 69) / 12))


def bandwidth_hutchinson(mean_hz: Floats) -> Floats:
    """Return the critical bandwidth in Hz as Hutchinson & Knopoff (1978) have it."""
    return np.asarray(1.72 * mean_hz**0.65)


def bandwidth_zwicker(mean_hz: Floats) -> Floats:
    """Return the critical bandwidth in Hz after Zwicker & Terhardt (1980)."""
    return np.asarray(25 + 75 * (1 + 1.4 * (mean_hz / 1000) ** 2) ** 0.69)


def bandwidth_glasberg(mean_hz: Floats) -> Floats:
    """Return the equivalent rectangular bandwidth in Hz of Glasberg & Moore (1990)."""
    return np.asarray(24.7 * (4.37 * mean_hz / 1000 + 1))


def beating(apart_bands: Floats) -> Floats:
    """Return how roughly two partials beat, 0..1, given how many critical bands they lie apart.

    >>> [round(float(x), 4) for x in beating(np.array([0.0, 0.25, 0.5, 1.0, 1.5]))]
    [0.0, 1.0, 0.5413, 0.0397, 0.0]
    """
    share = apart_bands / PEAK_BANDS
    return np.where(apart_bands > WIDEST_BANDS, 0.0, (share * np.exp(1 - share)) ** 2)


def hutchinson_knopoff(
    partials_hz: ArrayLike, amplitudes: ArrayLike, bandwidth: Bandwidth = bandwidth_hutchinson
) -> float:
    """Return the roughness of partials that sound together, relative to their power.

    Args:
        partials_hz: frequencies, in any order.
        amplitudes: as many linear amplitudes.
        bandwidth: gives the critical bandwidth at a frequency.

    >>> round(hutchinson_knopoff([440.0, 466.1638], [1.0, 1.0]), 3)
    0.491
    """
    hz, amplitude = np.asarray(partials_hz, np.float64), np.asarray(amplitudes, np.float64)
    one, other = np.triu_indices(len(hz), 1)
    bands = np.abs(hz[one] - hz[other]) / bandwidth((hz[one] + hz[other]) / 2)
    beats = amplitude[one] * amplitude[other] * beating(bands)
    return float(beats.sum() / (amplitude**2).sum())


def sethares(partials_hz: ArrayLike, amplitudes: ArrayLike) -> float:
    """Return the roughness of partials that sound together; louder partials are rougher.

    As the author's later programs have it, a pair counts with the weaker of its amplitudes.
    """
    hz, amplitude = np.asarray(partials_hz, np.float64), np.asarray(amplitudes, np.float64)
    one, other = np.triu_indices(len(hz), 1)
    p = SETHARES
    scale = p["peak"] / (p["per_hz"] * np.minimum(hz[one], hz[other]) + p["offset"])
    apart = scale * np.abs(hz[one] - hz[other])
    weight = np.minimum(amplitude[one], amplitude[other])
    beats = weight * (np.exp(-p["slow"] * apart) - np.exp(-p["fast"] * apart))
    return float(p["both"] * beats.sum())
