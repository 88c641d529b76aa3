"""Lateness of sends: the sounding process beside a play loop, idle and under load.

`python -m tests.bench lateness [--events 500] [--rounds 5] [--json OUT]`

Every player gets the same events, 5 to 60 ms apart, in turns, so that what else the machine does
meets all of them. Lateness is from the moment an event is due to the moment before it would be sent
(to nowhere: what a driver adds is the driver's). Under load, the real screen is drawn twenty times
a second in the main process, and a busy process runs for each core.

- bare: a process that does nothing but sleep, spin and look at the clock, at the priority of the
  sounding process: what is late there the machine keeps for itself, whatever the program;
- sounder: the sounding process with what priority it is granted, and at ordinary priority;
- loop, thread: mido's own `MidiFile.play` in a thread beside the screen;
- loop, process: the same in a process of its own;
- key, passed: a key of the player's, from the call of `thru` in a thread beside the screen to its
  sending in the sounding process.
"""

from __future__ import annotations

import argparse
import io
import json
import multiprocessing
import os
import random  # noqa: TID251 -- seeded below
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import mido
from rich.console import Console

from livecont.live.clock import SystemClock
from livecont.live.messages import TimedMessage
from livecont.live.priority import freeze_garbage, raise_priority
from livecont.live.sounder import Sounder
from livecont.live.sounding_process import SPIN_S
from livecont.live.wire import OutputChoice, OutputKind
from livecont.screen.stage import Stage
from livecont.sitting.snapshot import Phase
from tests.screen.conftest import NOTES, PIANO, TWO_PARTS, sitting

FRAMES_PER_S = 20
TICK_S = 0.0001
GAP_TICKS = (50, 600)
SETTLE_S = 0.3
CLOCK = SystemClock()

Gaps = list[int]
Player = Callable[[Gaps], list[float]]  # plays, returns lateness in seconds
TARGETS = (  # of issue 4, in microseconds
    ("idle", "sounder", "p99", 150.0),
    ("idle", "sounder", "p999", 500.0),
    ("load", "sounder", "p99", 150.0),
    ("load", "sounder", "p999", 500.0),
    ("idle", "sounder, ordinary", "p99", 300.0),
)


def main(argv: list[str]) -> int:
    """Measure, print a table; exit code 0 always: it measures."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench lateness", description=__doc__)
    parser.add_argument("--events", type=int, default=500, help="for each player")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    choice = OutputChoice(kind=OutputKind.SILENT)
    urgent, ordinary = Sounder.start(choice), Sounder.start(choice, urgent=False)
    players: dict[str, Player] = {
        "bare": by_bare_process,
        "sounder": lambda gaps: by_sounder(urgent, gaps),
        "sounder, ordinary": lambda gaps: by_sounder(ordinary, gaps),
        "loop, thread": by_loop,
        "loop, process": by_loop_in_a_process,
        "key, passed": lambda gaps: by_keys(urgent, gaps),
    }
    figures: dict[str, dict[str, dict[str, float]]] = {}
    try:
        figures["idle"] = measured(players, options.events, options.rounds)
        with busy_processes():
            figures["load"] = measured(players, options.events, options.rounds, screen=drawn)
        priority = urgent.report().priority
    finally:
        urgent.close()
        ordinary.close()
    report = {"priority": str(priority), "cores": os.cpu_count(), "lateness_us": figures}
    print_table(report)
    if options.json:
        options.json.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    return 0


def measured(
    players: dict[str, Player],
    events: int,
    rounds: int,
    screen: Callable[[threading.Event], None] | None = None,
) -> dict[str, dict[str, float]]:
    """Give every player its turn in every round; return the figures by player."""
    rng = random.Random(1)
    late_s: dict[str, list[float]] = {name: [] for name in players}
    for _ in range(rounds):
        gaps = [rng.randint(*GAP_TICKS) for _ in range(events // rounds)]
        for name, play in players.items():
            late_s[name] += beside_the_screen(partial(play, gaps), screen)
    return {name: summary(values) for name, values in late_s.items()}


def beside_the_screen(
    work: Callable[[], list[float]], screen: Callable[[threading.Event], None] | None
) -> list[float]:
    """Do the work in a thread while the screen, if any, is drawn in this one, the main thread."""
    results: list[list[float]] = []
    ended = threading.Event()

    def worker() -> None:
        try:
            results.append(work())
        finally:
            ended.set()

    thread = threading.Thread(target=worker)
    thread.start()
    if screen is not None:
        screen(ended)
    thread.join()
    return results[0]


def summary(late_s: list[float]) -> dict[str, float]:
    """Quantiles in microseconds."""
    ordered = sorted(late_s)

    def at(share: float) -> float:
        return round(1e6 * ordered[min(len(ordered) - 1, int(share * len(ordered)))], 1)

    return {
        "count": len(ordered),
        "p50": at(0.5),
        "p99": at(0.99),
        "p999": at(0.999),
        "max": at(1.0),
    }


# --- players ------------------------------------------------------------------------------------


def by_sounder(sounder: Sounder, gaps: Gaps) -> list[float]:
    """Feed the sounding process ahead of time; it says what it sent when."""
    due_s = CLOCK.now_s() + SETTLE_S
    messages = []
    for number, gap in enumerate(gaps):
        due_s += gap * TICK_S
        status = 0x80 if number % 2 else 0x90
        messages.append(TimedMessage(due_s=due_s, data=bytes((status, 60, 64))))
    sounder.sent()
    sounder.play(messages)
    CLOCK.sleep_until(due_s + SETTLE_S)
    return [one.sent_s - one.due_s for one in sounder.sent() if one.due_s is not None]


def by_keys(sounder: Sounder, gaps: Gaps) -> list[float]:
    """Press and release a key from this thread."""
    sounder.sent()
    pressed_s = []
    at_s = CLOCK.now_s() + SETTLE_S
    for number, gap in enumerate(gaps):
        at_s += gap * TICK_S
        CLOCK.sleep_until(at_s)
        pressed_s.append(CLOCK.now_s())
        sounder.thru(bytes((0x80 if number % 2 else 0x90, 60, 64)))
    CLOCK.sleep_until(at_s + SETTLE_S)
    passed = [one.sent_s for one in sounder.sent() if one.due_s is None]
    return [sent_s - at_s for sent_s, at_s in zip(passed, pressed_s, strict=True)]


def by_loop(gaps: Gaps) -> list[float]:
    """Play as mido does."""
    file = mido.MidiFile(ticks_per_beat=round(1 / TICK_S))
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    track.extend(mido.Message("note_on", note=60, time=gap) for gap in gaps)
    file.tracks.append(track)
    asked_s: list[float] = []

    def now_s() -> float:
        asked_s.append(CLOCK.now_s())
        return asked_s[-1]

    late_s = []
    due_s = 0.0
    for message in file.play(now=now_s):
        sent_s = CLOCK.now_s()
        due_s += message.time
        late_s.append(sent_s - (asked_s[0] + due_s))  # its first look at the clock is its start
    return late_s


def by_loop_in_a_process(gaps: Gaps) -> list[float]:
    """Play as mido does, in a process of its own."""
    return _in_a_process(_loop_process, gaps)


def by_bare_process(gaps: Gaps) -> list[float]:
    """Only be there at the time, in a process of its own."""
    return _in_a_process(_bare_process, gaps)


def _in_a_process(target: Callable[[Gaps, Connection[Any, Any]], None], gaps: Gaps) -> list[float]:
    context = multiprocessing.get_context("spawn")
    reading, writing = context.Pipe(duplex=False)
    process = context.Process(target=target, args=(gaps, writing))
    process.start()
    writing.close()
    late_s: list[float] = reading.recv()
    process.join()
    reading.close()
    return late_s


def _loop_process(gaps: Gaps, writing: Connection[Any, Any]) -> None:
    CLOCK.sleep_until(CLOCK.now_s() + SETTLE_S)
    writing.send(by_loop(gaps))


def _bare_process(gaps: Gaps, writing: Connection[Any, Any]) -> None:
    raise_priority()
    freeze_garbage()
    due_s, late_s = CLOCK.now_s() + SETTLE_S, []
    for gap in gaps:
        due_s += gap * TICK_S
        CLOCK.sleep_until(due_s - SPIN_S)
        while (now_s := CLOCK.now_s()) < due_s:
            pass
        late_s.append(now_s - due_s)
    writing.send(late_s)


# --- load ---------------------------------------------------------------------------------------


class Terminal(io.StringIO):
    """A terminal that nobody looks at."""

    def isatty(self) -> bool:
        return True


def drawn(ended: threading.Event) -> None:
    """Draw the real screen, every frame another, until the work has ended."""
    console = Console(
        file=Terminal(), width=120, height=40, force_terminal=True, color_system="truecolor"
    )
    at = sitting(TWO_PARTS, "e minor", -1, PIANO)
    frame = 0
    began_s = CLOCK.now_s()
    with Stage(console) as stage:
        while not ended.wait(max(0.0, began_s + frame / FRAMES_PER_S - CLOCK.now_s())):
            link, share = divmod(frame / 48, 1)
            stage.show(at(Phase.SOUNDING, 3 + int(link) % 6, share), NOTES)
            frame += 1


@contextmanager
def busy_processes() -> Iterator[None]:
    """Keep every core busy."""
    command = [sys.executable, "-c", "while True: pass"]
    processes = [subprocess.Popen(command) for _ in range(os.cpu_count() or 1)]
    try:
        yield
    finally:
        for process in processes:
            process.kill()
            process.wait()


# --- what is printed ----------------------------------------------------------------------------


def print_table(report: dict[str, Any]) -> None:
    """Print the figures, the play loop's p99 as a multiple of ours, and the targets."""
    print(f"priority granted: {report['priority']}; cores: {report['cores']}; microseconds late")
    columns = ("count", "p50", "p99", "p999", "max")
    print(f"{'':6}{'':20}" + "".join(f"{name:>10}" for name in columns))
    figures = report["lateness_us"]
    for condition, players in figures.items():
        for name, row in players.items():
            print(f"{condition:6}{name:20}" + "".join(f"{row[key]:10.0f}" for key in columns))
    for condition, players in figures.items():
        ours = players["sounder"]["p99"]
        for loop in ("loop, thread", "loop, process"):
            print(f"{condition}: p99 of {loop} is {players[loop]['p99'] / ours:.0f} times ours")
    for condition, name, quantile, most in TARGETS:
        value = figures[condition][name][quantile]
        verdict = "met" if value <= most else "MISSED"
        bare = figures[condition]["bare"][quantile]
        line = f"target {condition}, {name}: {quantile} {value:.0f} of {most:.0f}: {verdict}"
        print(f"{line} (bare: {bare:.0f})")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
