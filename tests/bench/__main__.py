"""`python -m tests.bench NAME …` runs a benchmark; without a name it says which there are."""

from __future__ import annotations

import ast
import importlib
import sys
from pathlib import Path

BENCHES = {
    path.stem: (ast.get_docstring(ast.parse(path.read_text("utf-8"))) or "").splitlines()[0]
    for path in sorted(Path(__file__).parent.glob("[a-z]*.py"))
}


def main(arguments: list[str]) -> int:
    """Run the benchmark named first; return its exit code."""
    if not arguments or arguments[0] not in BENCHES:
        print("python -m tests.bench NAME …, of:")
        for name, purpose in BENCHES.items():
            print(f"  {name:12} {purpose}")
        return 0 if not arguments or arguments[0] in ("-h", "--help") else 2
    module = importlib.import_module(f"tests.bench.{arguments[0]}")
    return int(module.main(arguments[1:]) or 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
