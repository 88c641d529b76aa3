"""`python -m tests` checks everything: format, rules, types, tests. The README's test command.

What is written after it goes to pytest, once: `python -m tests tests/music -x`. Without it the
tests run in two parts: first those that only compute, on all cores; then those that play in real
time, one after the other, with the machine to themselves. All checks are run even where one fails,
so that one run tells the whole story.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parent.parent
CHECKS = (
    ("format", ["ruff", "format", "--check", "."]),
    ("rules", ["ruff", "check", "."]),
    ("types", ["mypy"]),
)
PYTEST = ["pytest", "-q", "-rs"]
# a test is in one of the two by the mark that tests/conftest.py gives it
PARTS = (
    ("tests", [*PYTEST, "-n", "auto", "--dist", "loadfile", "-m", "not realtime"]),
    ("tests in real time", [*PYTEST, "-m", "realtime"]),
)


def main(arguments: list[str]) -> int:
    """Run the checks; return 0 where all of them passed."""
    failed = []
    tests = (("tests", [*PYTEST, *arguments]),) if arguments else PARTS
    for name, command in (*CHECKS, *tests):
        print(f"--- {name}: {' '.join(command)}", flush=True)
        done = subprocess.run([sys.executable, "-m", *command], cwd=TOP, check=False)
        if done.returncode:
            failed.append(name)
    print(f"--- {'all well' if not failed else 'failed: ' + ', '.join(failed)}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
