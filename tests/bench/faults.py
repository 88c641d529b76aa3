"""Fault drill: sittings ended in every ugly way while they sound; what hangs, what is lost?

    python -m tests.bench faults [--kills 200] [--lanes 1] [--seed 1] [--json OUT] [--way NAME …]

Each time `livecont listen` runs as a process of its own between real JACK MIDI ports. Another
process plays two links with pedal, half of the times keeping the last keys down; at a random moment
(seeded) after livecont has taken over, something happens:

- SIGKILL, SIGTERM, SIGINT to the main process; SIGKILL to its whole process group;
- its sounding process killed by SIGKILL; the one that explains what is heard;
- the keyboard's port closed, the synth's port closed, each for a while;
- the connection to the synth taken away in the server and given back;
- an exception in the sitting, where effects are performed, on the screen, in the recorder.

Then the other side of the port decides: a strike without its release, or a pedal left down, hangs.
What was lost for a while has to be silent by itself before the sitting is asked to end. `livecont
check --takes` mends the take, which is held against what was played and heard up to 100 ms before;
processes of the sitting that are left after 5 s are orphans.

Conventions: counts; seconds after the fault. Linux (it looks into /proc).
"""

from __future__ import annotations

import argparse
import json
import random  # noqa: TID251 -- seeded
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from tests.bench._drill import WAYS, Drill, Outcome
from tests.bench._rig import SERVER, Rig, jack_server

TRIES = 3  # of a sitting that does not begin to sound, as on a busy machine
PERIOD = 256  # frames: the drill is not about latency
BAD = ("hanging", "lost", "orphans", "oddities")


def main(argv: list[str]) -> int:
    """Drill, print a table; return 1 where anything hung, was lost or was left over."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench faults", description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--lanes", type=int, default=1, help="sittings at the same time")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--way", action="append", choices=sorted(WAYS))
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    outcomes = drilled(options.kills, options.lanes, options.seed, options.way or list(WAYS))
    report = summary(outcomes, options.seed)
    print_table(report)
    if options.json:
        options.json.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    return 1 if any(report["all"][what] for what in BAD) else 0


def drilled(kills: int, lanes: int, seed: int, ways: list[str]) -> list[Outcome]:
    """Return what came of each."""
    rng = random.Random(seed)
    orders = [(number, ways[number % len(ways)], rng.random()) for number in range(kills)]
    rng.shuffle(orders)
    with tempfile.TemporaryDirectory() as folder:

        def lane(mine: int) -> list[Outcome]:
            name = f"{SERVER}-{mine}"
            with jack_server(name, period=PERIOD, lane=True):
                rig = Rig("drill", server=name)
                try:
                    return [
                        outcome
                        for number, way, chance in orders[mine::lanes]
                        for outcome in _tried(rig, Path(folder) / str(number), way, chance)
                    ]
                finally:
                    rig.close()

        with ThreadPoolExecutor(lanes) as pool:
            return [outcome for found in pool.map(lane, range(lanes)) for outcome in found]


def _tried(rig: Rig, folder: Path, way: str, chance: float) -> Iterator[Outcome]:
    """Yield what came of it; where livecont did not sound there was no fault to see: once more."""
    for number in range(TRIES):
        outcome = Drill(rig, folder / str(number)).run(way, random.Random(chance))
        yield outcome
        if outcome.sounded:
            break


def summary(outcomes: list[Outcome], seed: int) -> dict[str, Any]:
    """Return the figures by way, and of all."""
    by_way: dict[str, list[Outcome]] = defaultdict(list)
    for outcome in outcomes:
        by_way[outcome.way].append(outcome)
    rows = {way: _row(found) for way, found in sorted(by_way.items())}
    return {
        "seed": seed,
        "ways": rows,
        "all": _row(outcomes),
        "faults": [outcome.told() for outcome in outcomes if outcome.bad],
    }


def _row(found: list[Outcome]) -> dict[str, float]:
    silent = sorted(one.silent_after_s for one in found if one.silent_after_s is not None)
    counts: Counter[str] = Counter()
    for one in found:
        counts["hanging"] += len(one.hanging)
        counts["lost"] += one.lost
        counts["orphans"] += len(one.orphans)
        counts["oddities"] += len(one.oddities)
    return {
        "kills": sum(one.sounded for one in found),
        "not_begun": sum(not one.sounded for one in found),
        **{what: counts[what] for what in BAD},
        "unheard": sum(one.unheard for one in found),
        "silent_p50_s": round(silent[len(silent) // 2], 3) if silent else 0.0,
        "silent_most_s": round(silent[-1], 3) if silent else 0.0,
    }


def print_table(report: dict[str, Any]) -> None:
    """Print a row for each way, and what went wrong."""
    print("how it ended              kills hanging  lost orphans  odd  silent after p50, most (s)")
    for name, row in [*report["ways"].items(), ("all", report["all"])]:
        print(
            f"{name:25} {row['kills']:5} {row['hanging']:7} {row['lost']:5} {row['orphans']:7} "
            f"{row['oddities']:4} {row['silent_p50_s']:12.3f} {row['silent_most_s']:8.3f}"
        )
    unheard = report["all"]["unheard"]
    print(
        f"sittings that did not begin to sound, and were tried again: {report['all']['not_begun']}"
    )
    print(f"strikes sent and not heard on the other side (a JACK client left): {unheard}")
    for fault in report["faults"]:
        print(f"  {json.dumps(fault)}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
