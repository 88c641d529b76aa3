"""A sitting with a fault built in: `python -m tests.bench._faulty WHERE listen …`.

On SIGUSR1 the next call at that place raises, as a fault of ours would: in the sitting (`step`),
where its effects are performed (`perform`), on the screen (`draw`, in the main thread), or in the
recorder of takes (`take`).
"""

from __future__ import annotations

import signal
import sys
from typing import Any

from livecont import cli
from livecont.live.performer import Performer
from livecont.live.take import TakeRecorder
from livecont.screen import Stage
from livecont.sitting import machine

PLACES: dict[str, tuple[Any, str]] = {
    "step": (machine, "step"),
    "perform": (Performer, "keep_take"),
    "draw": (Stage, "show"),
    "take": (TakeRecorder, "_gather"),
}


def main(arguments: list[str]) -> int:
    """Hold a sitting that fails when told to."""
    where, *rest = arguments
    owner, name = PLACES[where]
    real = getattr(owner, name)
    armed = False

    def arm(*_: object) -> None:
        nonlocal armed
        armed = True

    def failing(*given: Any, **named: Any) -> Any:
        if armed:
            raise RuntimeError(f"a fault in {where}, built in for the drill")
        return real(*given, **named)

    signal.signal(signal.SIGUSR1, arm)
    setattr(owner, name, failing)
    return cli.run(rest)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
