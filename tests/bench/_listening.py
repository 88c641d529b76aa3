"""A sitting that tells exactly what it decided and sent: `python -m tests.bench._listening …`.

As `livecont listen`, with one link a chain, but everything about it is told in one JSON line when
the standard input ends: take-overs (decided, due), messages sent (sent, due), the priority granted.
With `screen` the real screen is drawn, another frame each time, in the main thread.
"""

from __future__ import annotations

import json
import sys
import threading
from types import SimpleNamespace

from livecont.config import load_preferences
from livecont.live.clock import SystemClock
from livecont.live.port_names import choose_output
from livecont.live.ports import list_ports, output_to_open
from livecont.live.priority import favour_sitting
from livecont.live.report import SentMessage
from livecont.live.runner import Runner
from livecont.live.sounder import Sounder
from livecont.sitting import machine
from livecont.sitting.events import News, TookOver
from tests.bench.lateness import drawn

CONTROLS = SimpleNamespace(pedals={}, keys={}, computer={})


class Told(Sounder):
    """A sounder that keeps what it has told."""

    kept: list[SentMessage]

    def sent(self) -> tuple[SentMessage, ...]:
        """Return what went out, and keep it."""
        news = super().sent()
        self.kept += news
        return news


def _await_end(ended: threading.Event) -> None:
    sys.stdin.read()
    ended.set()


def main(arguments: list[str]) -> int:
    """Sit until the standard input ends; tell."""
    keyboard, synth, *more = arguments
    favour_sitting()
    ports = list_ports()
    chosen = load_preferences(options={"key": "C major", "limit": "1"})
    out = choose_output(ports.outputs, synth, f"{keyboard}:keys")
    sounder = Told.start(output_to_open(out, ports))
    assert isinstance(sounder, Told)
    sounder.kept = []
    news: list[News] = []
    ended = threading.Event()
    runner = Runner(
        machine, chosen.settings, clock=SystemClock(), sounder=sounder, controls=CONTROLS,
        thru=True, listeners=[news.append],
    )  # fmt: skip
    with runner:
        runner.listen(keyboard)
        print("ready", flush=True)
        threading.Thread(target=_await_end, args=(ended,), daemon=True).start()
        if "screen" in more:
            drawn(ended)
        ended.wait()
    took = [(one.at_s, one.start_s) for one in news if isinstance(one, TookOver)]
    sent = [(one.sent_s, one.due_s, one.data.hex()) for one in sounder.kept if one.due_s]
    priority = str(sounder.report().priority)
    print(json.dumps({"took": took, "sent": sent, "priority": priority}), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
