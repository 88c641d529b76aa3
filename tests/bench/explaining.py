"""What it costs a note that sequences are worked out beside it, and how soon the label is there.

    python -m tests.bench explaining [--rounds 3] [--json OUT]

In real time, through the real runner: our own pieces, one after the other, each taken over for two
links and broken into; with the process that works out what a sequence is, and without, in turns, so
that what else the machine does meets both. Nothing sounds.

- note: from the moment a key's message was stamped to the end of its step, by the clock, and the
  processor time of that step alone. On a machine that others use the clock tells little: compare.
- interpreter: the processor time that an answer takes in our interpreter, which is all that a note
  can ever wait for it: handing the pattern over, taking the answer in, and the sitting's step with
  it. The bound for each is a millisecond.
- told: from the moment livecont takes over to the moment its screen knows what the sequence is,
  negative where that is before; the bound is the end of the third link.

Conventions: ms for notes, seconds for told.
"""

from __future__ import annotations

import argparse
import json
import time  # noqa: TID251 -- for processor time, which no clock of ours tells
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace

from livecont.config import load_preferences
from livecont.demo import Piece, demo_names, load_piece, perform
from livecont.live.analysis import Analyst
from livecont.live.clock import SystemClock
from livecont.live.priority import freeze_garbage
from livecont.live.runner import Runner
from livecont.sequence.events import KeyDown, PlayerEvent
from livecont.sequence.pattern import Pattern
from livecont.sitting import machine
from livecont.sitting.events import Analysed, Effect, Settings, SittingEvent, TookOver
from livecont.sitting.snapshot import Snapshot
from tests.live.small_sitting import MemoryVoice

CLOCK = SystemClock()
NO_CONTROLS = SimpleNamespace(pedals={}, keys={}, computer={})
MOST_MS = 1.0
REST_S = 1.0
HEARD_LINKS = 2  # of ours, before the next piece breaks in
WARM_S = 3.0  # the process beside has started by then


@dataclass
class Watched:
    """The machine, each of its steps looked at."""

    note_ms: list[float] = field(default_factory=list)
    step_ms: list[float] = field(default_factory=list)
    taken: list[TookOver] = field(default_factory=list)
    told_s: list[float] = field(default_factory=list)
    answer_ms: list[float] = field(default_factory=list)
    taking_ms: list[float] = field(default_factory=list)

    def begin(self, settings: Settings) -> machine.State:
        """As the machine does."""
        return machine.begin(settings)

    def snapshot(self, state: machine.State, at_s: float) -> Snapshot:
        """As the machine does."""
        return machine.snapshot(state, at_s)

    def step(
        self, state: machine.State, event: SittingEvent
    ) -> tuple[machine.State, tuple[Effect, ...]]:
        """As the machine does, with what it took."""
        spent_s = time.thread_time()
        state, effects = machine.step(state, event)
        took_ms = 1e3 * (time.thread_time() - spent_s)
        if isinstance(event, Analysed):
            self.taking_ms.append(took_ms)
        if isinstance(event, KeyDown):
            self.step_ms.append(took_ms)
            self.note_ms.append(1e3 * (CLOCK.now_s() - event.at_s))
        for effect in effects:
            if isinstance(effect, TookOver):
                self.taken.append(effect)
        if isinstance(event, Analysed) and state.explanation is not None:
            # the first answer to a sequence's question counts
            self.told_s.append(event.at_s)
        return state, effects


class Measured(Analyst):
    """The analyst, the processor time of its thread looked at."""

    def __init__(self, answer_ms: list[float]) -> None:
        super().__init__(CLOCK)
        self._answer_ms = answer_ms

    def _asked(self, question: tuple[Pattern, int]) -> object:
        spent_s = time.thread_time()
        found = super()._asked(question)
        self._answer_ms.append(1e3 * (time.thread_time() - spent_s))
        return found


def music() -> tuple[list[PlayerEvent], Settings]:
    """Every piece, each in time to break into the third link's successor of the one before."""
    events: list[PlayerEvent] = []
    start_s = WARM_S
    pieces = [load_piece(name) for name in demo_names()]
    for piece in pieces:
        events += perform(piece, start_s)
        start_s += (2 + HEARD_LINKS) * _unit_s(piece) + REST_S
    settings = load_preferences(options={"compass": "modern"}).settings
    return events, replace(settings, key=None)


def _unit_s(piece: Piece) -> float:
    return float(piece.unit_beats) * 60 / piece.tempo_bpm


def measure(*, beside: bool) -> Watched:
    """Play everything once."""
    watched = Watched()
    events, settings = music()
    runner: Runner[machine.State] = Runner(
        watched,
        settings,
        clock=CLOCK,
        sounder=MemoryVoice(),
        controls=NO_CONTROLS,
        explainer=Measured(watched.answer_ms) if beside else None,
        comes_back=False,
    )
    with runner:
        runner.feed(events)
        CLOCK.sleep_until(CLOCK.now_s() + events[-1].at_s + 4.0)
    return watched


def quantile(found: list[float], share: float) -> float:
    """Return a quantile of numbers."""
    return sorted(found)[min(len(found) - 1, int(share * len(found)))] if found else float("nan")


def row(name: str, watched: list[Watched]) -> dict[str, object]:
    """Return what was measured in some rounds."""
    notes = [ms for one in watched for ms in one.note_ms]
    steps = [ms for one in watched for ms in one.step_ms]
    answers = [ms for one in watched for ms in one.answer_ms]
    taking = [ms for one in watched for ms in one.taking_ms]
    told = [
        min((at_s for at_s in one.told_s if at_s > taken.at_s - taken.pattern.unit_s), default=None)
        for one in watched
        for taken in one.taken
    ]
    after = [
        None if at_s is None else at_s - taken.start_s
        for at_s, taken in zip(told, [t for one in watched for t in one.taken], strict=True)
    ]
    return {
        "process": name,
        "notes": len(notes),
        "note_p50_ms": round(quantile(notes, 0.5), 3),
        "note_p99_ms": round(quantile(notes, 0.99), 3),
        "note_worst_ms": round(max(notes, default=float("nan")), 3),
        "step_p50_ms": round(quantile(steps, 0.5), 3),
        "step_p99_ms": round(quantile(steps, 0.99), 3),
        "answers": len(answers),
        "answer_p50_ms": round(quantile(answers, 0.5), 3),
        "answer_worst_ms": round(max(answers, default=0.0), 3),
        "taking_worst_ms": round(max(taking, default=0.0), 3),
        "told_s": [None if s is None else round(s, 3) for s in after],
        "links_s": [round(t.pattern.unit_s, 3) for one in watched for t in one.taken],
    }


def main(argv: list[str]) -> int:
    """Measure, print, and return 0 where both bounds are kept."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench explaining", description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    freeze_garbage()
    found: dict[bool, list[Watched]] = {False: [], True: []}
    for _ in range(options.rounds):
        for beside in (False, True):
            found[beside].append(measure(beside=beside))
    rows = [row("none", found[False]), row("beside", found[True])]
    print("process  notes  note p50 ms  p99 ms  worst ms   step p50 ms  p99 ms (processor time)")
    for one in rows:
        print(
            f"{one['process']:8} {one['notes']:5} {one['note_p50_ms']:12} {one['note_p99_ms']:7} "
            f"{one['note_worst_ms']:9} {one['step_p50_ms']:13} {one['step_p99_ms']:7}"
        )
    told, links = rows[1]["told_s"], rows[1]["links_s"]
    assert isinstance(told, list)
    assert isinstance(links, list)
    print(f"told after the take-over, s: {told}")
    print(f"a link takes, s:             {links}")
    in_time = all(s is not None and s < unit for s, unit in zip(told, links, strict=True))
    print(f"before the third link's end: {'always' if in_time else 'NOT always'}")
    print(
        f"an answer takes {rows[1]['answer_p50_ms']} ms of our interpreter, at worst "
        f"{rows[1]['answer_worst_ms']} ms; the step with it at worst "
        f"{rows[1]['taking_worst_ms']} ms ({MOST_MS} ms allowed; {rows[1]['answers']} answers)"
    )
    worst_ms = max(float(str(rows[1][name])) for name in ("answer_worst_ms", "taking_worst_ms"))
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    return 0 if in_time and told and worst_ms < MOST_MS else 1
