"""What can be seen of a sitting at one moment: an immutable value for the screen.

Conventions: as in `sitting.events`. The screen gets nothing else from the sitting.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.endings_clarity import Reach
from livecont.sequence.pattern import Link, Pattern
from livecont.sitting.events import Fullness
from livecont.sitting.explanation import Explanation


class Phase(StrEnum):
    """Where a sitting is."""

    LISTENING = "listening"  # no sequence heard yet
    UNDERSTOOD = "understood"  # a sequence is known, the next link not yet decided
    READY = "ready"  # the next link waits for its due moment, a pause or a cue
    SOUNDING = "sounding"  # livecont plays
    ENDED = "ended"  # the sitting is over


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """A link that broke the pattern on purpose, and in words what was done to it."""

    number: int
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """A sitting at `at_s`.

    `key` is the key in force, `key_chosen` whether the player chose it (else it is estimated,
    and None before there is enough to go by). `heard` are the latest notes, oldest first, spelled.
    `links_heard` are the notes of the links the player played, spelled, one tuple a link.
    `sounding` is the link that sounds or waits, `links_left` how many whole links are left after
    it (before anything sounds: after those heard), None while they are being counted, or where the
    chain is `endless`. `held` are the
    MIDI pitches that sound now, the player's and ours. `last_end` is the reason the last chain
    ended, or None. `reach` is how many links are left by the step, whatever the limit: clear ones,
    and those with keys; None while they are being counted, and where the chain goes another way.
    `changed` is the latest link that was changed on purpose; told when it is over. `kind_changed`:
    the player had the step counted the other way. `kind_from` is the first link that is the one
    before it, moved as the step is counted now. `past` are the links of the chain that livecont has
    sounded before the one of the moment, as they sounded. `explanation` is what the pattern is,
    None while that is being worked out. `fullness` is how much of the links not yet sounded will
    sound.
    """

    at_s: float
    phase: Phase
    key: Key | None
    key_chosen: bool
    compass: Compass
    heard: tuple[Spelling, ...]
    pattern: Pattern | None
    links_heard: tuple[tuple[Spelling, ...], ...]
    sounding: Link | None
    sounding_start_s: float | None
    coming: tuple[Link, ...]
    links_left: int | None
    held: tuple[int, ...]
    last_end: str | None
    endless: bool = False
    reach: Reach | None = None
    changed: Changed | None = None
    kind_changed: bool = False
    kind_from: int = 2
    past: tuple[Link, ...] = ()
    explanation: Explanation | None = None
    fullness: Fullness = Fullness.FULL
