"""What our strings sound like: which partials each has, how strong they are, how they die away.

A voice answers one question: what swings when a key is struck with some force. It says so as a
`Swing`, a row of partials; the bank (`sound.bank`) lets them swing.

Where the figures are from:
- partials are stretched by stiffness, f_k = k f_0 sqrt(1 + B k^2) (Fletcher 1964, from memory), and
  drawn down again so that the first is in tune;
- a string struck or plucked at a point of its length lacks the partials with a node there (common
  practice); struck, it has its partials alike but for the hammer's softness; plucked, the force on
  the bridge falls off as 1/k (Fletcher & Rossing 1998, from memory), of which the soundboard, that
  gives off high sounds better, leaves about the root (our ears);
- a struck string dies away fast at first and slowly later, its two polarisations and its
  neighbours drawing apart (Weinreich 1977, from memory);
- a plectrum knows hardly any force: soft and loud keys sound nearly alike (common practice);
- low strings ring longer, higher partials die sooner.

Conventions: frequencies in Hz, decays in nepers a second, strengths so that 1 is full scale.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

Row = npt.NDArray[np.float64]

TO_A_THOUSANDTH = math.log(1000.0)
LOUDEST = 0.16  # peak of one string struck with all force


@dataclass(frozen=True, slots=True)
class Swing:
    """The partials of one string, each with frequency, decay and strength."""

    hz: Row
    decay: Row
    strength: Row


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """A kind of string.

    `swing` takes the first partial's frequency, the MIDI pitch and the force, 0..1, and returns
    `partials` partials. `damped_in_s`: to a thousandth, once the damper is on the string.
    """

    name: str
    partials: int
    damped_in_s: float
    swing: Callable[[float, int, float], Swing]


def _stretched(number: Row, first_hz: float, stiffness: float) -> Row:
    """Return the frequencies of a stiff string's partials, the first one in tune."""
    return first_hz * number * np.sqrt((1 + stiffness * number**2) / (1 + stiffness))


def _small(first_hz: float, pitch: int, force: float) -> Swing:
    number = np.arange(1.0, _SMALL_PARTIALS + 1)
    brightness = 0.35 + 0.5 * (1 - force) + max(0.0, pitch - 60) / 60
    strength = np.abs(np.sin(np.pi * number / 8)) * np.exp(-brightness * (number - 1))
    rings_s = 18.0 * 2 ** (-(pitch - 36) / 18)
    return Swing(
        _stretched(number, first_hz, 3e-4),
        TO_A_THOUSANDTH / rings_s * (1 + 0.35 * (number - 1)),
        _scaled(strength, force**1.6),
    )


def _struck(first_hz: float, pitch: int, force: float) -> Swing:
    """A struck string, its fast and its slow half, and the knock of the key."""
    number = np.arange(1.0, _STRUCK_PARTIALS + 1)
    brightness = 0.30 + 0.4 * (1 - force) + max(0.0, pitch - 60) / 70
    strength = np.abs(np.sin(np.pi * number / 8)) * np.exp(-brightness * (number - 1))
    stiffness = 8e-5 * 2 ** (abs(pitch - 45) / 12)
    rings_s = 28.0 * 2 ** (-(pitch - 36) / 20)
    slow = TO_A_THOUSANDTH / rings_s * (1 + 0.22 * (number - 1))
    hz = _stretched(number, first_hz, stiffness)
    knock = _knock(0.5 * strength.sum() * force, (92.0, 151.0, 237.0, 391.0), 0.05)
    return Swing(
        np.concatenate([hz, hz * _APART, knock.hz]),
        np.concatenate([3.0 * slow, slow, knock.decay]),
        _scaled(np.concatenate([0.6 * strength, 0.4 * strength, knock.strength]), force**1.6),
    )


def _plucked(first_hz: float, pitch: int, force: float) -> Swing:
    """A plucked string of thin wire, and the plectrum's noise."""
    number = np.arange(1.0, _PLUCKED_PARTIALS + 1)
    at = 1 / 6 + max(0, 60 - pitch) / 60 * (1 / 9 - 1 / 6)  # nearer to the nut in the bass
    hz = _stretched(number, first_hz, 6e-6 * 2 ** (max(0, pitch - 48) / 12))
    strength = np.abs(np.sin(np.pi * number * at)) / np.sqrt(number) * np.exp(-((hz / 6e3) ** 2))
    rings_s = 14.0 * 2 ** (-(pitch - 36) / 20)
    decay = TO_A_THOUSANDTH / rings_s * (1 + 0.05 * (number - 1))
    click = _knock(0.12 * strength.sum(), (1130.0, 1870.0, 2930.0, 4210.0), 0.012)
    return Swing(
        np.concatenate([hz, click.hz]),
        np.concatenate([decay, click.decay]),
        _scaled(np.concatenate([strength, click.strength]), 0.75 + 0.25 * force),
    )


def _scaled(strength: Row, loudness: float) -> Row:
    """Return strengths so that all partials together never reach more than `LOUDEST`."""
    return strength * (LOUDEST * loudness / max(float(strength.sum()), 1e-9))


def _knock(strength: float, modes_hz: tuple[float, ...], lasts_s: float) -> Swing:
    """What the case adds to a stroke: a few modes that are gone at once."""
    hz = np.array(modes_hz)
    return Swing(
        hz,
        TO_A_THOUSANDTH / lasts_s * np.linspace(0.8, 1.4, len(hz)),
        strength / len(hz) * np.linspace(1.0, 0.5, len(hz)),
    )


_SMALL_PARTIALS, _STRUCK_PARTIALS, _PLUCKED_PARTIALS = 12, 32, 48
_KNOCK_MODES = 4
# the two halves of a struck string lie half a cent apart and beat slowly
_APART = 2 ** (-0.5 / 1200)

# the one that the live engine has time for
SMALL = Voice(name="small", partials=_SMALL_PARTIALS, damped_in_s=0.12, swing=_small)
STRUCK = Voice(
    name="struck", partials=2 * _STRUCK_PARTIALS + _KNOCK_MODES, damped_in_s=0.18, swing=_struck
)
PLUCKED = Voice(
    name="plucked", partials=_PLUCKED_PARTIALS + _KNOCK_MODES, damped_in_s=0.09, swing=_plucked
)
VOICES = MappingProxyType({voice.name: voice for voice in (PLUCKED, STRUCK)})
