"""Which partials a key of an instrument sounds: plausible spectra of strings on a soundboard.

Conventions: `pitch` is a MIDI number; frequencies in hertz; amplitudes linear, scaled so that a
note's power (the sum of their squares) is 1. A spectrum is that of the sound's body, after the
attack; strings are taken as harmonic. The figures are plausible values, not measurements of any
one instrument; each says where it comes from.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from livecont.music.roughness import Floats, pitch_hz

MOST_PARTIALS = 24
HIGHEST_HZ = 10_000.0
# partials weaker than this against the strongest are not heard beside it
FAINTEST = 10 ** (-40 / 20)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """How an instrument's strings and body shape the partials of a note.

    `slope`: partial k of a string is weaker by k to this power. `excited_at`: where the string is
    plucked or struck, as a share of its length (partials with a node there are missing); 0 where
    it is excited at its end. `low_hz`, `high_hz`: below and above these the body radiates less
    (12 dB an octave each).
    """

    name: str
    title: str
    slope: float
    excited_at: float
    low_hz: float
    high_hz: float
    source: str


HARPSICHORD = Spectrum(
    name="harpsichord",
    title="harpsichord, one eight-foot stop",
    slope=0.9,
    excited_at=1 / 7,
    low_hz=110,
    high_hz=5000,
    source="a plucked string's force on the bridge falls as 1/k (textbook physics of the ideal "
    "string); plucking point and body from memory",
)
CLAVICHORD = Spectrum(
    name="clavichord",
    title="clavichord",
    slope=1.3,
    excited_at=0,
    low_hz=180,
    high_hz=4000,
    source="a string struck at its end by the tangent; small soundboard; from memory",
)
EARLY_PIANO = Spectrum(
    name="early-piano",
    title="early piano, small leathered hammers",
    slope=1.1,
    excited_at=1 / 9,
    low_hz=100,
    high_hz=3000,
    source="hard narrow hammers, light soundboard; from memory",
)
MODERN_PIANO = Spectrum(
    name="modern-piano",
    title="modern piano",
    slope=1.2,
    excited_at=1 / 8,
    low_hz=70,
    high_hz=3500,
    source="striking point at about an eighth; the fundamental of the lowest notes some 10 to 20 "
    "dB below the strongest partial (speech.kth.se, five lectures on the piano; a tuners' "
    "list reports 9 dB at A0); slope from memory",
)
SPECTRA = MappingProxyType(
    {s.name: s for s in (HARPSICHORD, CLAVICHORD, EARLY_PIANO, MODERN_PIANO)}
)


@lru_cache(maxsize=1024)
def partials(spectrum: Spectrum, pitch: int) -> tuple[Floats, Floats, Floats]:
    """Return a note's partials: their numbers (1 is the fundamental), frequencies, amplitudes.

    At least the fundamental is there, however high.

    >>> numbers, hz, amplitude = partials(MODERN_PIANO, 69)
    >>> float(hz[1]), int(numbers[1]), round(float((amplitude**2).sum()), 6)
    (880.0, 2, 1.0)
    """
    number = np.arange(1.0, MOST_PARTIALS + 1)
    hz = number * float(pitch_hz(pitch))
    amplitude = number**-spectrum.slope
    if spectrum.excited_at > 0:
        amplitude = amplitude * np.abs(np.sin(np.pi * number * spectrum.excited_at))
    low, high = (hz / spectrum.low_hz) ** 2, (hz / spectrum.high_hz) ** 2
    amplitude = amplitude * low / (1 + low) / (1 + high)
    within = hz < HIGHEST_HZ
    within[0] = True
    heard = within & (amplitude >= FAINTEST * amplitude[within].max())
    power = float((amplitude[heard] ** 2).sum())
    return number[heard], hz[heard], amplitude[heard] / np.sqrt(power)
