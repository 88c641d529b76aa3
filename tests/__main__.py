"""`python -m tests` checks everything: format, rules, types, tests. The README's test command.

What is written after it goes to pytest: `python -m tests tests/music -x`. All four are run even
where one fails, so that one run tells the whole story.
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
    ("tests", ["pytest", "-q", "-rs"]),
)


def main(arguments: list[str]) -> int:
    """Run the checks; return 0 where all of them passed."""
    failed = []
    for name, command in CHECKS:
        print(f"--- {name}: {' '.join(command)}", flush=True)
        extra = arguments if name == "tests" else []
        done = subprocess.run([sys.executable, "-m", *command, *extra], cwd=TOP, check=False)
        if done.returncode:
            failed.append(name)
    print(f"--- {'all well' if not failed else 'failed: ' + ', '.join(failed)}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
