"""The parts of `tests.bench.soak` with a real process on real ports."""

from __future__ import annotations

import os
import re
import signal
import tempfile
import threading
from pathlib import Path
from typing import Any

import mido

from tests.bench._drill import Sitting, two_links, until
from tests.bench._rig import CLOCK, Rig, hanging, jack_server, pause, strikes
from tests.bench._soak_virtual import MOST_AT_ONCE, memory_mb

A_SECOND = 10_000
LOOK_EVERY_S = 1.0
MOST_GROWTH_MB = 12.0  # in the second half of the flood: in the first the caches fill
TRIES = 3
STOPPED_S = 4.0
SOON_S = 0.2
_LOST = re.compile(r"(\d+) messages were lost so far")


def flood(for_s: float) -> dict[str, Any]:
    """Send as fast as no player can; see what is told, and whether it goes on afterwards."""
    with tempfile.TemporaryDirectory() as folder, jack_server():
        rig = Rig("flood")
        sitting = Sitting(rig, Path(folder), None)
        faults: list[str] = []
        try:
            if not until(lambda: sitting.said("is heard")):
                return {"faults": [f"it did not start: {sitting.lines}"]}
            memory, sent = _flooded(rig, sitting, for_s)
            drained = until(lambda: _quiet(rig), 30.0)
            if not drained:
                faults.append("30 s later it was still passing notes on")
            # the flood was a sequence too: who plays after it may have to play once more
            if not any(_takes_over(rig) for _ in range(TRIES)):
                faults.append(f"it does not take over any more: {sitting.lines[-3:]}")
            sitting.process.send_signal(signal.SIGTERM)
            began_s = CLOCK.now_s()
            code = sitting.process.wait(120)
            ended_s = round(CLOCK.now_s() - began_s, 1)
            if code != 128 + signal.SIGTERM:
                faults.append(f"exit code {code}: {sitting.lines[-3:]}")
            pause(0.3)
            heard = rig.heard()
            if hanging(heard):
                faults.append(f"keys hang: {sorted(hanging(heard))[:10]}")
        finally:
            sitting.process.kill()
            rig.close()
        lost_told = max(
            (int(found[1]) for line in sitting.lines if (found := _LOST.search(line))), default=0
        )
        lost = _lost(Path(folder), sent)
        if abs(lost - lost_told) > 0.1 * max(lost, lost_told) + 100:
            faults.append(f"{lost} messages were lost, {lost_told} were told")
        return {
            "sent": sent,
            "lost": lost,
            "lost_told": lost_told,
            "passed_through_to_the_synth": len(heard),
            **_memory(memory, faults),
            "ended_after_s": ended_s,
            "faults": faults,
        }


def _flooded(rig: Rig, sitting: Sitting, for_s: float) -> tuple[list[dict[str, float]], int]:
    memory: list[dict[str, float]] = []
    ended = threading.Event()
    sounding = sitting.sounding_pid()

    def look() -> None:
        while not ended.wait(LOOK_EVERY_S):
            main_mb = memory_mb(sitting.process.pid)
            memory.append({"main_mb": main_mb, "sounding_mb": memory_mb(sounding)})

    looker = threading.Thread(target=look)
    looker.start()
    sent = int(rig.ask("flood", A_SECOND, for_s))
    ended.set()
    looker.join()
    return memory, sent


def _quiet(rig: Rig) -> bool:
    before = rig.strikes()
    pause(0.5)
    return rig.strikes() == before


def _takes_over(rig: Rig) -> bool:
    pause(4.0)
    events = two_links(held=False)
    before = rig.strikes() + len(strikes(events))
    rig.play(events)
    return until(lambda: rig.strikes() > before, 10.0)


def _lost(folder: Path, sent: int) -> int:
    """Return how many messages of the flood are not in the take: every second was a strike."""
    in_take = 0
    for path in folder.glob("*.mid"):
        track = next(t for t in mido.MidiFile(path).tracks if t.name == "player")
        in_take += sum(m.type == "note_on" and m.velocity > 0 for m in track)
    return sent - 2 * in_take  # what was played afterwards hardly counts


def _memory(memory: list[dict[str, float]], faults: list[str]) -> dict[str, list[float]]:
    begin, end = memory[len(memory) // 2], memory[-1]
    for key, before_mb in begin.items():
        if end[key] - before_mb > MOST_GROWTH_MB:
            faults.append(f"{key} grew by {end[key] - before_mb:.1f}")
    return {key: [begin[key], end[key]] for key in begin}


def suspend(rounds: int) -> dict[str, Any]:
    """Stop all of a sitting while it sounds; the clock goes on, as it does in a sleep."""
    faults: list[str] = []
    with tempfile.TemporaryDirectory() as folder, jack_server():
        slept = [_slept(number, Path(folder) / str(number), faults) for number in range(rounds)]
    most = max(soon for soon, _, _ in slept)
    hung = sum(hung for _, _, hung in slept)
    if most > MOST_AT_ONCE:
        faults.append(f"{most} strikes within {SOON_S} s of waking up")
    if hung:
        faults.append(f"{hung} keys hang")
    return {
        "sleeps": rounds,
        "slept_s": STOPPED_S,
        "most_strikes_soon_after": most,
        "strikes_in_2_s_after": sum(later for _, later, _ in slept),
        "faults": faults,
    }


def _slept(number: int, folder: Path, faults: list[str]) -> tuple[int, int, int]:
    """Let one sitting sleep; return its strikes soon after, and later, and the keys that hang."""
    rig = Rig(f"sleep{number}")
    sitting = Sitting(rig, folder, None)
    try:
        if not until(lambda: sitting.said("is heard")) or not _begins(rig):
            faults.append(f"it did not take over: {sitting.lines[-3:]}")
            return 0, 0, 0
        pause(0.4 + 0.13 * number)
        _stop_and_go(sitting)
        woke_s = CLOCK.now_s()
        pause(2.0)
        after_s = [at_s - woke_s for at_s, _ in strikes(rig.heard()) if at_s >= woke_s]
        sitting.process.send_signal(signal.SIGTERM)
        sitting.process.wait(15)
        until(lambda: not sitting.family(), 5.0)
        pause(0.3)
        return sum(s < SOON_S for s in after_s), len(after_s), len(hanging(rig.heard()))
    finally:
        sitting.process.kill()
        rig.close()


def _begins(rig: Rig) -> bool:
    events = two_links(held=False)
    rig.play(events)
    count = len(strikes(events))
    return until(lambda: rig.strikes() > count, 10.0)


def _stop_and_go(sitting: Sitting) -> None:
    family = list(sitting.family())
    for pid in family:
        os.kill(pid, signal.SIGSTOP)
    pause(STOPPED_S)
    for pid in family:
        os.kill(pid, signal.SIGCONT)
