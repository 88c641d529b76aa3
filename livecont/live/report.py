"""What the sounding process is known to have done, as values.

Conventions: `sent_s` and `due_s` are on the system clock (`live.clock.SystemClock`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from livecont.live.wire import Priority


class SounderState(StrEnum):
    """How the sounding process is."""

    RUNNING = "running"
    LOST = "output lost"  # it tries to get the output back by itself
    ENDED = "ended"  # closed, or dead


@dataclass(frozen=True, slots=True, kw_only=True)
class SentMessage:
    """A message that went out at `sent_s`; `due_s` is None where it had no planned moment."""

    sent_s: float
    due_s: float | None
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class SounderReport:
    """How the sounding process is and what it has done, as far as it has told.

    `output` is the name of what was opened, `trouble` one line on what is wrong, if anything.
    Counts are of messages: `scheduled` and `passed` went out (planned, and the player's own),
    `dropped_late` were note-ons too late to be played, `dropped_lost` had no output, `dropped_bad`
    were no MIDI messages, `not_passed` and `not_delivered` did not get to the sounding process
    (the player's own, and planned), `not_logged` went out but are missing in `sent`. The lateness
    is that of planned messages.
    """

    state: SounderState
    output: str
    priority: Priority
    trouble: str | None
    scheduled: int
    passed: int
    pending: int
    dropped_late: int
    dropped_lost: int
    dropped_bad: int
    not_passed: int
    not_delivered: int
    not_logged: int
    late_p50_s: float
    late_p99_s: float
    late_most_s: float

    @property
    def alive(self) -> bool:
        """Whether the sounding process is there."""
        return self.state is not SounderState.ENDED
