"""Patterns worked out in a real process of their own."""

from __future__ import annotations

import os
import queue
import signal
import sys
import threading
from collections.abc import Iterator
from dataclasses import replace

import pytest

from livecont.live.analysis import Analyst
from livecont.live.clock import SystemClock
from livecont.sequence.pattern import Pattern
from livecont.sitting.events import Analysed
from livecont.sitting.explanation import explain
from tests.sitting.material import DUE_S, seated

PATIENCE_S = 60.0


@pytest.fixture(scope="module")
def pattern() -> Pattern:
    found = seated().until(DUE_S - 0.01).pattern
    assert found is not None
    return found


class Desk:
    """An analyst with its answers in a queue."""

    def __init__(self) -> None:
        self.answers: queue.SimpleQueue[Analysed] = queue.SimpleQueue()
        self.told: list[str] = []
        self.analyst = Analyst(SystemClock(), self.told.append)
        self.analyst.start(self.answers.put)

    def answer(self) -> Analysed:
        return self.answers.get(timeout=PATIENCE_S)

    def process_id(self) -> int:
        process = self.analyst._process
        assert process is not None
        assert process.pid is not None
        return process.pid


@pytest.fixture
def desk() -> Iterator[Desk]:
    made = Desk()
    yield made
    made.analyst.close()


def test_the_answer_is_the_one_that_is_worked_out_here(desk: Desk, pattern: Pattern) -> None:
    desk.analyst.ask(pattern)
    answer = desk.answer()
    assert answer.pattern == pattern
    assert answer.explanation == explain(pattern)
    assert 0 < answer.at_s <= SystemClock().now_s()


def test_of_those_that_wait_the_latest_is_worked_out(desk: Desk, pattern: Pattern) -> None:
    desk.analyst.ask(pattern)
    desk.answer()  # from here on the process is there
    drafts = [replace(pattern, links_heard=2 + n, confidence=n / 50) for n in range(50)]
    for draft in drafts:
        desk.analyst.ask(draft)
    seen: list[Pattern] = []
    while not seen or seen[-1] != drafts[-1]:
        seen.append(desk.answer().pattern)
    assert len(seen) < 10


def test_it_is_a_process_of_the_lowest_priority(desk: Desk, pattern: Pattern) -> None:
    if sys.platform == "win32":
        pytest.skip("no such question on Windows")
    desk.analyst.ask(pattern)
    desk.answer()
    assert desk.process_id() != os.getpid()
    assert os.getpriority(os.PRIO_PROCESS, desk.process_id()) == 19


def test_a_process_that_is_killed_is_started_again(desk: Desk, pattern: Pattern) -> None:
    if sys.platform == "win32":
        pytest.skip("no SIGKILL on Windows")
    desk.analyst.ask(pattern)
    desk.answer()
    before = desk.process_id()
    os.kill(before, signal.SIGKILL)
    desk.analyst.ask(pattern)  # this one is lost with the process
    for _ in range(int(PATIENCE_S)):
        desk.analyst.ask(pattern)
        try:
            desk.answers.get(timeout=1.0)
        except queue.Empty:
            continue
        break
    assert desk.process_id() != before


def test_a_process_that_hangs_is_started_again(
    desk: Desk, pattern: Pattern, monkeypatch: pytest.MonkeyPatch
) -> None:
    if sys.platform == "win32":
        pytest.skip("no SIGSTOP on Windows")
    desk.analyst.ask(pattern)
    desk.answer()
    before = desk.process_id()
    os.kill(before, signal.SIGSTOP)
    monkeypatch.setattr("livecont.live.analysis.ANSWER_PATIENCE_S", 0.05)
    for _ in range(int(PATIENCE_S * 2)):
        desk.analyst.ask(pattern)
        try:
            desk.answers.get(timeout=0.5)
        except queue.Empty:
            if desk.analyst._process is not None and desk.process_id() != before:
                monkeypatch.setattr("livecont.live.analysis.ANSWER_PATIENCE_S", PATIENCE_S)
            continue
        break
    assert desk.process_id() != before


def test_a_pattern_that_can_not_be_worked_out_is_told_and_stops_nothing(
    desk: Desk, pattern: Pattern
) -> None:
    broken = replace(pattern, positions=(replace(pattern.positions[0], heard=()),))
    desk.analyst.ask(broken)
    told = threading.Event()
    for _ in range(int(PATIENCE_S * 20)):
        if desk.told or told.wait(0.05):
            break
    desk.analyst.ask(pattern)
    assert desk.answer().pattern == pattern
    assert desk.told[0].startswith("no harmonic label for this sequence: ")


def test_closing_leaves_no_process(pattern: Pattern) -> None:
    desk = Desk()
    desk.analyst.ask(pattern)
    desk.answer()
    process = desk.analyst._process
    desk.analyst.close()
    desk.analyst.close()
    assert process is not None
    assert process.exitcode is not None
    assert not desk.analyst._thread.is_alive()


def test_the_process_ends_with_its_pipe_however_we_end(desk: Desk, pattern: Pattern) -> None:
    desk.analyst.ask(pattern)
    desk.answer()
    process, pipe = desk.analyst._process, desk.analyst._pipe
    assert process is not None
    assert pipe is not None
    pipe.close()  # as the system does where we are killed
    process.join(PATIENCE_S)
    assert process.exitcode == 0


def test_an_analyst_that_was_never_started_closes() -> None:
    Analyst(SystemClock()).close()
