"""What hearing costs: the time of one step of the sitting, per note, with minutes behind it.

    python -m tests.bench cost [--minutes 5] [--json OUT]

Dense two-hand playing made by chance (seeded): sixteenths in the right hand, eighths in the left,
chords now and then, some 18 notes a second; each minute ends with two links of 96 onsets, so that
the longest unit is met. Printed per minute, so that growth would be seen. The bound is what three
MIDI bytes need on the wire: 0.96 ms (MIDI 1.0: 31 250 baud, ten bits a byte).

Conventions: times in ms of processor time, which other programs do not add to, and beside it the
p99 by the clock. A step is one key going down. The median, p99 and the worst of each minute.
"""

from __future__ import annotations

import argparse
import json
import random  # noqa: TID251 -- seeded, so that every run hears the same
import time  # noqa: TID251 -- for processor time, which no clock of ours tells
from collections.abc import Iterator
from pathlib import Path

from livecont.config import load_preferences
from livecont.live.clock import SystemClock
from livecont.live.priority import freeze_garbage
from livecont.music.key import parse_key
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sitting.events import Settings, Tick, Wake
from livecont.sitting.machine import begin, step

WIRE_MS = 0.96
BEAT_S = 0.5
SIXTEENTH_S = BEAT_S / 4
LINK_ONSETS = 96


def playing(minutes: int) -> Iterator[PlayerEvent]:
    """Yield the events of some minutes, in time order."""
    chance = random.Random(1)
    events: list[PlayerEvent] = []
    link_s = LINK_ONSETS * SIXTEENTH_S
    for minute in range(minutes):
        start_s = 60.0 * minute
        free_s = 60.0 - 2 * link_s
        events += _free(chance, start_s, round(free_s / SIXTEENTH_S))
        events += _links(chance, start_s + free_s)
    return iter(sorted(events, key=lambda event: event.at_s))


def _free(chance: random.Random, start_s: float, sixteenths: int) -> Iterator[PlayerEvent]:
    right, left = 72, 48
    for number in range(sixteenths):
        at_s = start_s + number * SIXTEENTH_S + chance.gauss(0, 0.006)
        right = min(96, max(62, right + chance.choice((-4, -3, -2, -1, 1, 2, 3, 4))))
        chord = (0, 4, 7) if chance.random() < 0.1 else (0,)
        for above in chord:
            yield from _note(at_s + chance.random() * 0.02, right + above, SIXTEENTH_S)
        if number % 2 == 0:
            left = min(60, max(36, left + chance.choice((-5, -2, -1, 1, 2, 5))))
            for above in (0, 12):
                yield from _note(at_s + chance.random() * 0.02, left + above, 2 * SIXTEENTH_S)


def _links(chance: random.Random, start_s: float) -> Iterator[PlayerEvent]:
    """Two links of `LINK_ONSETS` onsets in each of two hands, the second a step lower."""
    key = parse_key("C major")
    staff = [chance.randrange(35, 45) for _ in range(LINK_ONSETS)]
    for link in range(2):
        for number, place in enumerate(staff):
            at_s = start_s + (link * LINK_ONSETS + number) * SIXTEENTH_S + chance.gauss(0, 0.004)
            yield from _note(at_s, key.natural(place - link).midi, SIXTEENTH_S)
            yield from _note(at_s + 0.01, key.natural(place - link - 14).midi, SIXTEENTH_S)


def _note(at_s: float, pitch: int, length_s: float) -> Iterator[PlayerEvent]:
    at_s = max(0.0, at_s)
    yield KeyDown(at_s=at_s, pitch=pitch, velocity=70)
    yield KeyUp(at_s=at_s + 0.9 * length_s, pitch=pitch)


def measure(minutes: int) -> list[dict[str, float]]:
    """Return a row for each minute."""
    compass = load_preferences().compasses["modern"]
    state = begin(Settings(key=parse_key("C major"), compass=compass))
    now_s, spent_s = SystemClock.reader(), time.thread_time
    costs: list[list[tuple[float, float]]] = [[] for _ in range(minutes + 1)]
    wake_s: float | None = None
    freeze_garbage()
    for event in playing(minutes):
        while wake_s is not None and wake_s < event.at_s:
            state, effects = step(state, Tick(at_s=wake_s))
            wake_s = next((e.at_s for e in reversed(effects) if isinstance(e, Wake)), None)
        began_s, before_s = now_s(), spent_s()
        state, effects = step(state, event)
        cost_ms, took_ms = 1000 * (spent_s() - before_s), 1000 * (now_s() - began_s)
        wake_s = next((e.at_s for e in reversed(effects) if isinstance(e, Wake)), None)
        if isinstance(event, KeyDown):
            costs[min(minutes, int(event.at_s // 60))].append((cost_ms, took_ms))
    return [_row(minute, found) for minute, found in enumerate(costs) if len(found) > 100]


def _row(minute: int, both: list[tuple[float, float]]) -> dict[str, float]:
    found = sorted(cost for cost, _ in both)
    by_clock = sorted(took for _, took in both)
    return {
        "minute": minute + 1,
        "notes": len(found),
        "p50_ms": round(found[len(found) // 2], 3),
        "p99_ms": round(found[len(found) * 99 // 100], 3),
        "worst_ms": round(found[-1], 3),
        "p99_by_clock_ms": round(by_clock[len(found) * 99 // 100], 3),
    }


def main(argv: list[str]) -> int:
    """Measure, print a table, and return 0 where the last minute keeps within the wire's time."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench cost", description=__doc__)
    parser.add_argument("--minutes", type=int, default=5)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    rows = measure(options.minutes)
    print("minute  notes   p50 ms   p99 ms  worst ms  p99 by the clock")
    for row in rows:
        print(
            f"{row['minute']:6} {row['notes']:6} {row['p50_ms']:8.3f} {row['p99_ms']:8.3f} "
            f"{row['worst_ms']:9.3f} {row['p99_by_clock_ms']:17.3f}"
        )
    kept = rows[-1]["p99_ms"] <= WIRE_MS
    print(f"p99 of the last minute {'within' if kept else 'above'} {WIRE_MS} ms")
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    return 0 if kept else 1
