"""The parts of `tests.bench.soak` in virtual time."""

from __future__ import annotations

import gc
import os
import random  # noqa: TID251 -- seeded
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from livecont.live.clock import SystemClock
from livecont.live.sounding import LATE_BOUND_S
from livecont.music.key import parse_key
from tests.bench._virtual import VirtualSitting

CLOCK = SystemClock()
C_MAJOR = parse_key("C major")
HOUR_S = 3600.0
SETTLED_HOURS = 1.0  # after so long nothing may grow any more
MOST_GROWTH_MB = 8.0
MOST_OBJECTS_GROWTH = 20_000
MOST_AT_ONCE = 8  # strikes at one moment: a chord of both hands
WIRE_BYTES_A_SECOND = 3125  # MIDI 1.0

Timed = tuple[float, bytes]


def memory_mb(pid: int | None = None) -> float:
    """Return the resident memory of a process, of this one by default."""
    pages = int(Path(f"/proc/{pid or 'self'}/statm").read_text().split()[1])
    return round(pages * os.sysconf("SC_PAGE_SIZE") / 2**20, 1)


def noise(minutes: float) -> dict[str, Any]:
    """Random bytes, as fast as a MIDI cable brings them, uniform and MIDI-like in turn."""
    rng = random.Random(1)
    sitting, began_s = VirtualSitting(), CLOCK.now_s()
    at_s, count, before_mb = 0.0, 0, memory_mb()
    while at_s < 60.0 * minutes:
        size = rng.randrange(1, 64)
        like_midi = int(at_s) % 2
        data = bytes(_likely(rng) if like_midi else rng.randrange(256) for _ in range(size))
        sitting.arrive(data, at_s)
        count += size
        at_s += size / WIRE_BYTES_A_SECOND + (rng.random() if rng.random() < 0.01 else 0.0)
    sitting.advance(at_s + 60.0)
    sitting.finish()
    grown_mb = round(memory_mb() - before_mb, 1)
    faults = [f"keys hang: {sorted(sitting.output.down)}"] if sitting.output.down else []
    if grown_mb > 4 * MOST_GROWTH_MB:
        faults.append(f"{grown_mb} MB more than before")
    return {
        "minutes": minutes,
        "bytes": count,
        "took_over": sitting.effects["TookOver"],
        "sounded": sitting.output.strikes,
        "grown_mb": grown_mb,
        "took_s": round(CLOCK.now_s() - began_s, 1),
        "faults": faults,
    }


def _likely(rng: random.Random) -> int:
    """A byte as it often comes from a keyboard."""
    return rng.choice((0x90, 0x80, 0xB0, 64, rng.randrange(36, 96), rng.randrange(128)))


# --- playing ------------------------------------------------------------------------------------


def playing(rng: random.Random, until_s: float) -> Iterator[Timed]:
    """Yield a player's messages, in time order, until then: sequences, free playing, pauses."""
    at_s = 1.0
    while at_s < until_s:
        kind = rng.random()
        if kind < 0.35:
            messages = _sequence(rng, at_s, rng.choice((2, 2, 2, 3, 4)))
        elif kind < 0.7:
            messages = _free(rng, at_s, rng.uniform(5.0, 40.0))
        else:
            messages = []
        yield from messages
        end_s = messages[-1][0] if messages else at_s
        at_s = end_s + rng.choice((0.3, 2.0, 8.0, 20.0)) * rng.uniform(0.5, 1.5)
        if rng.random() < 0.01:
            at_s += rng.uniform(300.0, 900.0)  # tea


def _sequence(rng: random.Random, at_s: float, links: int) -> list[Timed]:
    """Two links or more of a new figure in two hands, each a step away from the last."""
    count, note_s = rng.randrange(4, 13), rng.uniform(0.1, 0.4)
    step = rng.choice((-1, -1, -1, 1, -2, 2))
    figure = [rng.randrange(33, 45) for _ in range(count)]
    bass = rng.randrange(20, 28)
    notes = []
    for link in range(links):
        begin_s = at_s + link * count * note_s
        for number, place in enumerate(figure):
            struck_s = begin_s + number * note_s + rng.gauss(0.0, 0.006)
            notes.append((struck_s, place + link * step, 0.85 * note_s))
        notes.append((begin_s + rng.gauss(0.0, 0.006), bass + link * step, 0.9 * count * note_s))
    return _messages(rng, [(s, C_MAJOR.natural(place).midi, held) for s, place, held in notes])


def _free(rng: random.Random, at_s: float, for_s: float) -> list[Timed]:
    notes = []
    pitch, moment_s = 67, at_s
    while moment_s < at_s + for_s:
        pitch = min(88, max(48, pitch + rng.choice((-5, -3, -2, -1, 1, 2, 3, 4))))
        for above in (0, -12, -8) if rng.random() < 0.15 else (0,):
            notes.append((moment_s + 0.01 * rng.random(), pitch + above, 0.2))
        moment_s += rng.choice((0.12, 0.12, 0.24, 0.48))
    return _messages(rng, notes)


def _messages(rng: random.Random, notes: list[tuple[float, int, float]]) -> list[Timed]:
    found = []
    for struck_s, pitch, held_s in notes:
        found.append((struck_s, bytes((0x90, pitch, rng.randrange(50, 90)))))
        found.append((struck_s + held_s, bytes((0x80, pitch, 64))))
    return sorted(found)


def day(hours: float) -> dict[str, Any]:
    """Play on and on; look at the memory at every hour."""
    sitting, began_s = VirtualSitting(), CLOCK.now_s()
    rows: list[dict[str, Any]] = []
    notes, next_s = 0, HOUR_S / 2
    for at_s, message in playing(random.Random(1), hours * HOUR_S):
        while at_s >= next_s:
            rows.append(_row(sitting, next_s, notes, began_s))
            next_s += HOUR_S / 2 if next_s < HOUR_S else HOUR_S
        sitting.arrive(message, at_s)
        notes += message[0] & 0xF0 == 0x90
    sitting.advance(hours * HOUR_S + 600.0)
    rows.append(_row(sitting, hours * HOUR_S, notes, began_s))
    sitting.finish()
    settled = [row for row in rows if row["hour"] >= min(SETTLED_HOURS, hours / 2)]
    grown_mb = round(settled[-1]["mb"] - settled[0]["mb"], 1)
    more = settled[-1]["objects"] - settled[0]["objects"]
    faults = [f"keys hang: {sorted(sitting.output.down)}"] if sitting.output.down else []
    if grown_mb > MOST_GROWTH_MB:
        faults.append(f"memory grew by {grown_mb} MB after the first hour")
    if more > MOST_OBJECTS_GROWTH:
        faults.append(f"{more} objects more than after the first hour")
    return {
        "hours": hours,
        "notes_played": notes,
        "took_over": sitting.effects["TookOver"],
        "notes_sounded": sitting.output.strikes,
        "grown_mb_after_first_hour": grown_mb,
        "objects_more": more,
        "took_s": round(CLOCK.now_s() - began_s, 1),
        "by_hour": rows,
        "faults": faults,
    }


def _row(sitting: VirtualSitting, at_s: float, notes: int, began_s: float) -> dict[str, Any]:
    gc.collect()
    return {
        "hour": round(at_s / HOUR_S, 2),
        "mb": memory_mb(),
        "objects": len(gc.get_objects()),
        "played": notes,
        "took_over": sitting.effects["TookOver"],
        "took_s": round(CLOCK.now_s() - began_s, 1),
    }


# --- time ---------------------------------------------------------------------------------------


def jumps(rounds: int) -> dict[str, Any]:
    """Let the clock jump, most of the times while livecont sounds."""
    rng = random.Random(2)
    most, after_long, hanging, count, sounding = 0, 0, 0, 0, 0
    for _ in range(20 * rounds):
        sitting = VirtualSitting()
        messages = _sequence(rng, 1.0, 2)
        for at_s, message in messages:
            sitting.arrive(message, at_s)
        sitting.advance(messages[-1][0] + rng.uniform(0.0, 4.0))
        sounding += sitting.state.sounding is not None
        by_s = rng.choice((0.05, 0.5, 5.0, 60.0, 3600.0, 36_000.0))
        before = sitting.output.strikes
        sitting.output.at_once = 0
        sitting.jump(by_s)
        most = max(most, sitting.output.at_once)
        if by_s > LATE_BOUND_S:
            sitting.advance(sitting.clock.now_s() + 30.0)
            after_long += sitting.output.strikes - before if by_s >= 60.0 else 0
        sitting.finish()
        hanging += len(sitting.output.down)
        count += 1
    faults = [f"{hanging} keys hang"] if hanging else []
    if most > MOST_AT_ONCE:
        faults.append(f"{most} strikes at once after a jump")
    if after_long:
        faults.append(f"{after_long} strikes after sleeping for a minute or more")
    return {
        "jumps": count,
        "while_sounding": sounding,
        "most_strikes_at_once": most,
        "strikes_after_long_sleep": after_long,
        "faults": faults,
    }
