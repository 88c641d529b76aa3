"""Temperaments: how far each pitch class lies from equal temperament.

Conventions: pitch classes from C, 0, to B, 11; cents. A table counts from C, as printed ones do; a
keyboard is tuned from its a, so that keeps the pitch asked for.
"""

from __future__ import annotations

from dataclasses import dataclass

A = 9
HIGHEST_A4_HZ, LOWEST_A4_HZ = 480.0, 380.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Temperament:
    """A temperament: `cents` are the pitch classes' above C, rising."""

    name: str
    title: str
    cents: tuple[float, ...]
    source: str

    @property
    def away(self) -> tuple[float, ...]:
        """By how much each pitch class is moved from equal temperament on the same a.

        >>> Temperament(name="", title="", cents=(*range(0, 1200, 100),), source="").away[0]
        0.0
        """
        a = self.cents[A] - 100.0 * A
        return tuple(cents - 100.0 * number - a for number, cents in enumerate(self.cents))

    def hz(self, pitch: int, a4_hz: float = 440.0) -> float:
        """Return the frequency of a MIDI pitch."""
        return float(a4_hz * 2 ** ((pitch - 69 + self.away[pitch % 12] / 100) / 12))


EQUAL = Temperament(
    name="equal",
    title="equal temperament",
    cents=tuple(100.0 * number for number in range(12)),
    source="common practice",
)
