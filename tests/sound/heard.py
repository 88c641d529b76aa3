"""Listening to sound by analysis: which frequencies, how loud, how bright."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Sound = npt.NDArray[np.float32]


def loudness(sound: Sound) -> float:
    if not len(sound):
        return 0.0  # after the end
    return float(np.sqrt(np.mean(np.square(sound, dtype=np.float64))))


def partial_hz(sound: Sound, near_hz: float, rate_hz: int) -> float:
    """The strongest frequency within a semitone, between the bins of a windowed transform."""
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), 4 * len(sound)))
    bin_hz = rate_hz / (4 * len(sound))
    low, high = (round(near_hz * 2 ** (away / 12) / bin_hz) for away in (-1, 1))
    peak = low + int(spectrum[low:high].argmax())
    left, middle, right = np.log(spectrum[peak - 1 : peak + 2])
    return float(peak + (left - right) / (2 * (left - 2 * middle + right))) * bin_hz


def brightness_hz(sound: Sound, rate_hz: int) -> float:
    """The centre of the spectrum."""
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    hz = np.arange(len(spectrum)) * rate_hz / len(sound)
    return float((hz * spectrum).sum() / spectrum.sum())


def cents(one_hz: float, other_hz: float) -> float:
    return 1200 * math.log2(one_hz / other_hz)
