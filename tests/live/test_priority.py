"""What a sitting asks of the system for itself: more, never less, and no complaint where not."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

ASKED = """
import os, sys
if len(sys.argv) > 1:
    os.setpriority(os.PRIO_PROCESS, 0, int(sys.argv[1]))
from livecont.live.priority import favour_sitting
before = os.getpriority(os.PRIO_PROCESS, 0)
favour_sitting()
print(before, os.getpriority(os.PRIO_PROCESS, 0), sys.getswitchinterval())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="niceness is POSIX's")
@pytest.mark.parametrize("niceness", [[], ["5"]])
def test_a_sitting_is_favoured_as_far_as_that_is_granted(niceness: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-c", ASKED, *niceness], capture_output=True, text=True, check=True
    )
    before, after, turn_s = done.stdout.split()
    assert int(after) <= int(before)
    assert float(turn_s) == pytest.approx(0.0005)
    if os.geteuid() == 0:  # root is granted anything
        assert int(after) <= -10
