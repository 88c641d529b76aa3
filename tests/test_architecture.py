"""Imports run one way, slow and foreign libraries stay where they belong, files stay readable.

The rules are those of DEVELOPERS.md: music <- sequence <- sitting <- the rest; `live`, `score`,
`book` and `screen` know nothing of each other; `sound` is for whoever needs to be heard.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parent.parent
PACKAGE = TOP / "livecont"

# what a room may import of ours besides itself; rooms not named here are the top level
CORE = ("errors", "music", "sequence", "sitting")
ROOMS = {
    "music": ("errors",),
    "sequence": ("errors", "music"),
    "sitting": ("errors", "music", "sequence"),
    "sound": ("errors", "music", "sequence"),
    "live": (*CORE, "sound"),
    "score": (*CORE, "plainness"),  # what is asked of a path before it is opened
    "book": CORE,
    "screen": CORE,
    # its material and levels are files of ours, read as the rest of the configuration is
    "ear": (*CORE, "live", "score", "book", "screen", "config", "tables", "demo"),
}
PURE = ("music", "sequence", "sitting")
# the pure rooms have no clock, no thread, no file, no process, no network
WORLDLY = {
    "asyncio", "datetime", "glob", "http", "io", "logging", "multiprocessing", "os", "pathlib",
    "queue", "shutil", "signal", "socket", "sqlite3", "subprocess", "tempfile", "threading", "time",
    "tomllib", "urllib",
}  # fmt: skip
MIDI_ROOMS = ("live", "score")  # where mido may be
LATE = {"rtmidi", "miniaudio", "music21", "partitura", "verovio"}  # missing or slow: import late
POSIX_ONLY = {"curses", "fcntl", "grp", "pty", "pwd", "resource", "termios", "tty"}
MOST_FILE_LINES = 400
MOST_FUNCTION_LINES = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Import:
    """One import: the module's full name, whether it runs when the file is imported."""

    module: str
    line: int
    at_once: bool
    guarded: bool  # under an `if` or `try`


def imports(tree: ast.AST, late: bool = False, guarded: bool = False) -> Iterator[Import]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(module=alias.name, line=node.lineno, at_once=not late, guarded=guarded)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            assert node.module is not None
            for name in [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]:
                yield Import(module=name, line=node.lineno, at_once=not late, guarded=guarded)
        else:
            inside = late or isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
            choice = guarded or isinstance(node, ast.If | ast.Try)
            yield from imports(node, inside, choice)


def faults(path: str, source: str) -> list[str]:
    """Return what in a file breaks the rules; `path` counts from the package, with slashes."""
    room = path.split("/", maxsplit=1)[0] if "/" in path else ""
    tree = ast.parse(source)
    found = []
    for one in imports(tree):
        base, _, rest = one.module.partition(".")
        where = f"{path}:{one.line}: imports {one.module}"
        if base == "livecont" and room in ROOMS and rest:
            if rest.split(".")[0] not in (room, *ROOMS[room]):
                found.append(f"{where}, which {room} must not know")
        elif base == "mido" and room not in MIDI_ROOMS:
            found.append(f"{where}: MIDI messages stay in {MIDI_ROOMS}")
        if base in LATE and one.at_once:
            found.append(f"{where} at once: it may be missing or is slow")
        if base in POSIX_ONLY and one.at_once and not one.guarded:
            found.append(f"{where} unguarded: not on every platform")
        if room in PURE and base != "livecont":
            allowed = base == "numpy" or (base in sys.stdlib_module_names and base not in WORLDLY)
            if not allowed:
                found.append(f"{where}: {room} is pure")
    if room in PURE:
        found += [f"{path}:{line}: opens or prints" for line in worldly_calls(tree)]
    return found


def worldly_calls(tree: ast.AST) -> Iterator[int]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            if node.func.id in ("open", "print", "input"):
                yield node.lineno
        elif isinstance(node, ast.Global):
            yield node.lineno


def source_files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize(
    "path", source_files(), ids=lambda path: path.relative_to(PACKAGE).as_posix()
)
def test_imports_keep_the_rules(path: Path) -> None:
    assert faults(path.relative_to(PACKAGE).as_posix(), path.read_text("utf-8")) == []


@pytest.mark.parametrize(
    ("path", "source", "fault"),
    [
        ("music/a.py", "import livecont.sequence.events", "must not know"),
        ("music/a.py", "from livecont import sitting", "must not know"),
        ("sequence/a.py", "from livecont.sitting.events import Tick", "must not know"),
        ("screen/a.py", "from livecont.live.ports import x", "must not know"),
        ("live/a.py", "from livecont.cli import main", "must not know"),
        ("sitting/a.py", "def f():\n    import time", "is pure"),
        ("sequence/a.py", "import rich", "is pure"),
        ("music/a.py", "x = open('a')", "opens or prints"),
        ("screen/a.py", "import mido", "MIDI messages stay"),
        ("replay.py", "from mido import Message", "MIDI messages stay"),
        ("live/a.py", "import rtmidi", "at once"),
        ("live/a.py", "import termios", "unguarded"),
    ],
)
def test_a_broken_rule_is_seen(path: str, source: str, fault: str) -> None:
    assert any(fault in line for line in faults(path, source))


@pytest.mark.parametrize(
    ("path", "source"),
    [
        ("live/a.py", "def f():\n    import rtmidi"),
        ("live/a.py", "try:\n    import termios\nexcept ImportError:\n    termios = None"),
        ("sitting/a.py", "import numpy\nimport math\nfrom livecont.sequence.events import KeyUp"),
        ("cli.py", "from livecont.live.ports import x"),
    ],
)
def test_what_is_allowed_passes(path: str, source: str) -> None:
    assert faults(path, source) == []


def code_files() -> list[Path]:
    return [*source_files(), *sorted((TOP / "tests").rglob("*.py"))]


def length(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return a function's lines without its docstring."""
    first = function.body[0]
    described = ast.get_docstring(function) is not None
    described_lines = (first.end_lineno or first.lineno) - first.lineno + 1 if described else 0
    return (function.end_lineno or function.lineno) - function.lineno + 1 - described_lines


def test_files_and_functions_stay_readable() -> None:
    too_long = []
    for path in code_files():
        source = path.read_text("utf-8")
        if source.count("\n") > MOST_FILE_LINES:
            too_long.append(str(path))
        for node in ast.walk(ast.parse(source)):
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            if length(node) > MOST_FUNCTION_LINES:
                too_long.append(f"{path}:{node.lineno} {node.name}")
    assert too_long == []


def test_tests_are_no_packages() -> None:
    """pytest imports them by path; an __init__.py would make two modules of one file."""
    assert [
        path for path in (TOP / "tests").rglob("__init__.py") if "bench" not in path.parts
    ] == []
