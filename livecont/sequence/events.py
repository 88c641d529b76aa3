"""What a player does at the keyboard, and the notes that come of it.

Conventions: `*_s` are seconds on one clock, whichever the caller uses, rising; `pitch` and
`velocity` are MIDI numbers 0..127; `channel` is 0..15. A note-on with velocity 0 never gets here:
the boundary turns it into a `KeyUp` (MIDI 1.0).
"""

from __future__ import annotations

from dataclasses import dataclass

SUSTAIN = 64  # MIDI 1.0 controller numbers of the three pedals
SOSTENUTO = 66
SOFT = 67


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyDown:
    """A key goes down."""

    at_s: float
    pitch: int
    velocity: int
    channel: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyUp:
    """A key comes up."""

    at_s: float
    pitch: int
    channel: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PedalMove:
    """A pedal moves: `controller` 64, 66 or 67, `value` 0..127 (64 and more is down)."""

    at_s: float
    controller: int
    value: int
    channel: int = 0


PlayerEvent = KeyDown | KeyUp | PedalMove


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A note with its key's release; `release_s` is None while the key is held."""

    onset_s: float
    release_s: float | None
    pitch: int
    velocity: int
    channel: int = 0
