"""Compasses: which keys an instrument has.

Conventions: MIDI numbers, middle C = 60. Short and broken octaves lack some chromatic keys at the
bottom, so a compass is a range less some keys. Reading the table from `configs/` is not done here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Compass:
    """An instrument's keys.

    >>> short = Compass(name="short", lowest=36, highest=84, absent=frozenset({37, 39, 42, 44}),
    ...                 title="C/E-c3", source="")
    >>> 38 in short, 37 in short, len(short)
    (True, False, 45)
    """

    name: str
    title: str
    lowest: int
    highest: int
    absent: frozenset[int]
    source: str

    def __contains__(self, pitch: object) -> bool:
        """Whether the instrument has the key that sounds a MIDI pitch."""
        return (
            isinstance(pitch, int)
            and self.lowest <= pitch <= self.highest
            and pitch not in self.absent
        )

    def __len__(self) -> int:
        """How many keys."""
        return self.highest - self.lowest + 1 - len(self.absent)

    def holds(self, pitches: Iterable[int]) -> bool:
        """Whether every pitch has a key."""
        return all(pitch in self for pitch in pitches)
