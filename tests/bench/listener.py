"""Cost per note of the listener, after long dense playing and inside sequences.

`python -m tests.bench listener [--minutes 5] [--json OUT]`

Budget: a note event should cost less than the time its three MIDI bytes need on the wire, 0.96 ms
(MIDI 1.0: 31 250 baud, 10 bits a byte). Material: random two-hand playing, made from a seed, with a
sequence of up to 96 onsets a link every so often, so that the dear case, a long unit that fits, is
measured too. Only `Listener.hear` is timed, one call a note, the garbage collector as in life.
"""

from __future__ import annotations

import argparse
import json
import random  # noqa: TID251  seeded below
import time  # noqa: TID251  benchmarks measure
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from livecont.music.key import parse_key
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sequence.listener import Listener

WIRE_MS = 0.96
NOTE_S = 0.11
SCALE = (0, 2, 4, 5, 7, 9, 11)


def main(argv: list[str]) -> int:
    """Run the benchmark; exit code 0 always: it measures."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench listener", description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    listener = Listener(parse_key("C major"))
    costs_ms = []
    for event in playing(options.minutes * 60, seed=1):
        start = time.perf_counter()
        listener.hear(event)
        if isinstance(event, KeyDown):
            costs_ms.append(1000 * (time.perf_counter() - start))
    report = summary(costs_ms)
    print(
        f"{'notes':>8s}{'p50 ms':>9s}{'p99 ms':>9s}{'max ms':>9s}"
        f"{'late/early':>12s}{'p99/wire':>10s}"
    )
    print(
        f"{report['notes']:8.0f}{report['p50_ms']:9.3f}{report['p99_ms']:9.3f}"
        f"{report['max_ms']:9.3f}{report['last_to_second_fifth']:12.2f}"
        f"{report['p99_ms'] / WIRE_MS:10.2f}"
    )
    if options.json:
        options.json.write_text(json.dumps(report, indent=1) + "\n")
    return 0


def summary(costs_ms: list[float]) -> dict[str, float]:
    """Percentiles, and the median of the last fifth against the second: growth shows there."""
    costs = np.array(costs_ms)
    fifth = len(costs) // 5
    return {
        "notes": float(len(costs)),
        "p50_ms": float(np.percentile(costs, 50)),
        "p99_ms": float(np.percentile(costs, 99)),
        "max_ms": float(costs.max()),
        "last_to_second_fifth": float(
            np.median(costs[-fifth:]) / np.median(costs[fifth : 2 * fifth])
        ),
    }


def playing(length_s: float, seed: int) -> Iterator[PlayerEvent]:
    """Two hands without pause: random chords and runs, and sequences of 6 to 96 onsets a link."""
    dice = random.Random(seed)
    now_s = 0.0
    while now_s < length_s:
        onsets = dice.choice((6, 12, 24, 48, 96))
        step = dice.choice((-2, -1, 1, 2))
        link = [
            (dice.randint(32, 42), [dice.randint(18, 26)] * dice.randint(0, 1))
            for _ in range(onsets)
        ]
        copies = 3 if dice.random() < 0.7 else 1
        for copy in range(copies):
            for right, left in link:
                for place in (right, *left):
                    staff = place + copy * step
                    pitch = 12 * (staff // 7 + 1) + SCALE[staff % 7]
                    at_s = now_s + dice.uniform(0, 0.02)
                    yield KeyDown(at_s=at_s, pitch=pitch, velocity=dice.randint(50, 90))
                    yield KeyUp(at_s=at_s + 0.001, pitch=pitch)
                now_s += NOTE_S * dice.uniform(0.95, 1.05)
