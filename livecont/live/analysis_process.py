"""The process that works out what patterns are, at the lowest priority.

It is started by `live.analysis` with the spawn method and ends with its pipe, however the main
process ends. Ctrl-C is the main process's business.

Conventions: a pattern and its home link in, an `Explanation` out, in order; for a pattern that
can't be worked out the fault in one line.
"""

from __future__ import annotations

import signal
from multiprocessing.connection import Connection
from typing import Any

from livecont.live.priority import lower_priority


def run(pipe: Connection[Any, Any]) -> None:
    """Answer until the pipe ends."""
    lower_priority()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # imported at the lowest priority, too
    from livecont.sitting.explanation import explain

    answer: object
    while True:
        try:
            pattern, home = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answer = explain(pattern, home)
        except Exception as error:  # one pattern must not end it for all later ones
            answer = f"{type(error).__name__}: {error}"
        try:
            pipe.send(answer)
        except OSError:
            return
