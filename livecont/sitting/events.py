"""What a sitting is told and what it asks for.

Conventions: every time is in seconds on the shell's one clock, handed in as data. Events come in
time order. Effects are to be performed in the order given. The screen, the take and the report all
get the same `News`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.music.spectrum import Spectrum
from livecont.sequence.endings import Ending, Limit
from livecont.sequence.events import PlayerEvent
from livecont.sequence.pattern import Link, Pattern
from livecont.sitting.explanation import Explanation


class Start(StrEnum):
    """When the next link sounds."""

    AT_ONCE = "at-once"  # when due
    ON_PAUSE = "on-pause"  # when the hands stop
    ON_CUE = "on-cue"  # at a pedal or key


class Fullness(StrEnum):
    """How much of a coming link sounds."""

    FULL = "full"  # every note
    REDUCTION = "reduction"  # its main notes


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the player chose for a sitting.

    `key` None: estimated while playing. `most_links` None: as far as the compass goes; else how
    many links at most are sounded. `least_confidence`: below it, nothing sounds by itself.
    `limit`, `ending`, `spectrum` and `surprise` are the chain's (`sequence.chain`); `seed` is for
    its dice. `draws_ahead`: the chain is drawn up to its end in spare moments, to be shown, and
    what it is is asked for; else link by link as it is sounded.
    """

    key: Key | None
    compass: Compass
    start: Start = Start.AT_ONCE
    most_links: int | None = None
    least_confidence: float = 0.75
    draws_ahead: bool = True
    limit: Limit = Limit.COMPASS
    ending: Ending = Ending.STOP
    spectrum: Spectrum | None = None
    surprise: float = 0.0
    seed: int = 0
    fullness: Fullness = Fullness.FULL


# --- events -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """Time has come to `at_s`; asked for by `Wake`, and always welcome."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue:
    """The player wants the next link: at its due time, or now where that has passed."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """Whatever sounds is to be silent; listening goes on."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeKey:
    """The player chose another key, or (None) leaves it to be estimated."""

    at_s: float
    key: Key | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeKind:
    """The player wants the step counted the other way, tonal or real, from the next link on."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeFullness:
    """The player wants the main notes only, or all again, from the next link on."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysed:
    """What a pattern is has been worked out, as `Analyse` asked for."""

    at_s: float
    pattern: Pattern
    explanation: Explanation


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """The input or output is gone: be silent and forget half-heard links."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Quit:
    """The sitting ends."""

    at_s: float


Wish = Cue | Stop | ChangeKey | ChangeKind | ChangeFullness
SittingEvent = PlayerEvent | Tick | Wish | Analysed | Lost | Quit


# --- effects ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """Sound a link: its first note (offset 0) is due at `start_s`, which may have just passed.

    Several may be pending at once; each is complete with its note-offs.
    """

    start_s: float
    link: Link


@dataclass(frozen=True, slots=True, kw_only=True)
class Hush:
    """Forget everything not yet sounded and release everything that sounds, at once."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wake:
    """Send a `Tick` at `at_s`, or as soon as possible after. A later Wake replaces an earlier."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Analyse:
    """Work out what a pattern is, away from the path of notes, and tell it by `Analysed`.

    A later one makes an earlier one that is not yet answered needless. `home` is the link that is
    in the pattern's key, where each is in its own.
    """

    at_s: float
    pattern: Pattern
    home: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """News: a pattern is known, known better, or has its step counted the other way."""

    at_s: float
    pattern: Pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class TookOver:
    """News: decided at `at_s` to sound `link` from `start_s` on."""

    at_s: float
    start_s: float
    pattern: Pattern
    link: Link


@dataclass(frozen=True, slots=True, kw_only=True)
class GaveWay:
    """News: the player plays on, so livecont fell silent."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """News: the chain ended.

    `reason` is one of 'limit', 'compass', 'clear', 'home', 'cadence', 'stopped', 'lost', 'quit'.
    """

    at_s: float
    reason: str


News = Understood | TookOver | GaveWay | Ended
Effect = Sound | Hush | Wake | Analyse | News
