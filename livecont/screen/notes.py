"""What the screen is told beyond the sitting itself.

Conventions: plain values, filled in by whoever wires ports, take and controls together. Texts may
hold anything that a port or a path is called; the screen cleans them.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.sitting.events import Start


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenNotes:
    """Things around a sitting, as they are now.

    `late_count` counts notes sounded later than they should be, `dropped_count` input messages
    lost; both are shown only when there are any. `message` is one line for the player, the last
    thing worth telling. `hints` pair a control with what it does: ("space", "cue"). `start` says
    when the next link sounds, so that the screen can say what it waits for.
    """

    input_name: str | None = None
    output_name: str | None = None
    dropped_count: int = 0
    late_count: int = 0
    take_path: str | None = None
    message: str | None = None
    hints: tuple[tuple[str, str], ...] = ()
    start: Start | None = None
