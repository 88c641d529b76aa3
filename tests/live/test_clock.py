"""The clocks: one by hand, one of the machine that agrees between processes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from livecont.live.clock import Clock, ManualClock, SystemClock

TOP = Path(__file__).parents[2]


def test_manual_clock_moves_only_by_hand() -> None:
    clock = ManualClock(5.0)
    assert clock.now_s() == clock.now_s() == 5.0
    clock.advance(0.25)
    assert clock.now_s() == 5.25


def test_manual_clock_sleeps_by_jumping_and_never_goes_back() -> None:
    clock = ManualClock(5.0)
    clock.sleep_until(7.0)
    clock.sleep_until(6.0)
    assert clock.now_s() == 7.0
    with pytest.raises(ValueError, match="never goes back"):
        clock.advance(-0.1)


@pytest.mark.parametrize("clock", [SystemClock(), ManualClock(3.0)], ids=["system", "manual"])
def test_sleeping_never_ends_early(clock: Clock) -> None:
    due_s = clock.now_s() + 0.002
    clock.sleep_until(due_s)
    assert clock.now_s() >= due_s


def test_system_clock_never_goes_back() -> None:
    clock = SystemClock()
    readings = [clock.now_s() for _ in range(10_000)]
    assert readings == sorted(readings)
    assert readings[-1] > readings[0]


def test_system_clock_is_the_same_in_another_process() -> None:
    clock = SystemClock()
    before_s = clock.now_s()
    answer = subprocess.run(
        [
            sys.executable,
            "-c",
            "from livecont.live.clock import SystemClock as C\nprint(C().now_s())",
        ],
        capture_output=True,
        text=True,
        check=True,
        cwd=TOP,
        timeout=30,
    )
    assert before_s < float(answer.stdout) < clock.now_s()


@pytest.mark.skipif(sys.platform != "linux", reason="/proc/uptime is Linux's")
def test_system_clock_counts_the_machines_sleep() -> None:
    # proc(5): the first number of /proc/uptime is the uptime "including time spent in suspend"
    uptime_s = float(Path("/proc/uptime").read_text(encoding="ascii").split()[0])
    assert SystemClock().now_s() == pytest.approx(uptime_s, abs=0.5)
