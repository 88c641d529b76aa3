"""How far a chain goes, and what comes then: the choices a player has.

Conventions: none; these are names. `sequence.chain` carries them out, with the help of the other
`endings_*` modules: `course` (every link of a chain, wherever it lies), `clarity` (of links),
`walk` (fold and turn), `close` (cadences), `surprise`, `circle` (where a chain leads).
"""

from __future__ import annotations

from enum import StrEnum


class Limit(StrEnum):
    """How far the chain goes by its step, besides a number of links."""

    COMPASS = "compass"  # as long as every note has a key
    CLEAR = "clear"  # as long as the ear can follow, too


class Ending(StrEnum):
    """What comes at the limit."""

    STOP = "stop"  # nothing: the last link ends
    FOLD = "fold"  # leap by octaves and go on
    TURN = "turn"  # climb back by the inverse step
    CLOSE = "close"  # leave the chain for a cadence in the key
