"""Soak: floods, noise, a day of playing, a machine that sleeps; nothing grows, nothing breaks.

    python -m tests.bench soak [--only PART …] [--flood-s 60] [--hours 24] [--json OUT]

- flood: 10,000 messages a second through a real JACK MIDI port into `livecont listen` for a minute:
  what was sent against what was heard and what was told to be lost, memory of both processes, and
  whether it still takes over afterwards;
- noise: random bytes into the input, ten minutes of virtual time;
- day: 24 hours of virtual playing, with pauses: memory by the hour, objects that the sitting holds;
- jumps: the clock jumps at random moments of virtual playing: how many strikes come at once then;
- suspend: both processes of a real sitting are stopped while they sound, for some seconds, and go
  on: strikes that come at once then, what hangs at the end.

Conventions: MB are 2**20 bytes of resident memory. Virtual time is as fast as the machine.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.bench import _soak_real, _soak_virtual

PARTS: dict[str, Callable[[argparse.Namespace], dict[str, Any]]] = {
    "flood": lambda options: _soak_real.flood(options.flood_s),
    "suspend": lambda options: _soak_real.suspend(options.rounds),
    "noise": lambda options: _soak_virtual.noise(options.noise_minutes),
    "jumps": lambda options: _soak_virtual.jumps(options.rounds),
    "day": lambda options: _soak_virtual.day(options.hours),
}


def main(argv: list[str]) -> int:
    """Soak, print what came of it; return 1 where anything grew or broke."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench soak", description=__doc__)
    parser.add_argument("--only", action="append", choices=sorted(PARTS))
    parser.add_argument("--flood-s", type=float, default=60.0)
    parser.add_argument("--noise-minutes", type=float, default=10.0, help="of virtual time")
    parser.add_argument("--hours", type=float, default=24.0, help="of virtual time")
    parser.add_argument("--rounds", type=int, default=5, help="of jumps and suspends")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    report = {}
    for name in options.only or PARTS:
        report[name] = PARTS[name](options)
        print_part(name, report[name])
    if options.json:
        options.json.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    return 1 if any(part["faults"] for part in report.values()) else 0


def print_part(name: str, part: dict[str, Any]) -> None:
    """Print one part's figures and faults."""
    print(f"{name}: {'well' if not part['faults'] else 'FAULTS'}")
    for key, value in part.items():
        if key not in ("faults", "by_hour"):
            print(f"  {key.replace('_', ' '):34} {value}")
    for row in part.get("by_hour", ()):
        print("  " + "  ".join(f"{key} {value}" for key, value in row.items()))
    for fault in part["faults"]:
        print(f"  FAULT: {fault}")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
