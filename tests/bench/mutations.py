"""Mutation check: each guard is taken out in a copy of the code, and a named test has to fail.

    python -m tests.bench mutations [--only NAME …] [--json OUT]

For every mutant the working tree is copied, one short text in one file is replaced (it has to be
there exactly once, else that is an error), and the tests named are run in the copy. All of them
must pass without the mutant, and at least one must fail with it. Tests that need a JACK server are
not among them, so that it runs anywhere.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
COPIED = ("livecont", "configs", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md")
PATIENCE_S = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """A guard and how it is taken out."""

    guard: str
    file: str
    before: str
    after: str
    tests: tuple[str, ...]


MUTANTS = (
    Mutant(
        guard="note-offs at the end",
        file="livecont/live/ledger.py",
        before="messages = [_release(key) for key in sorted(self.sounding)]",
        after="messages: list[bytes] = []",
        tests=(
            "tests/live/test_ledger.py::test_whatever_was_sent_everything_is_released_at_the_end",
            "tests/live/test_sounding.py::test_however_a_sitting_goes_nothing_sounds_after_its_end",
        ),
    ),
    Mutant(
        guard="note-offs when the player plays on",
        file="livecont/live/ledger.py",
        before="[_release(key) for key in sorted(self._ours) if key not in self._theirs]",
        after="[_release(key) for key in ()]",
        tests=("tests/live/test_ledger.py::test_after_a_hush_only_the_players_keys_sound",),
    ),
    Mutant(
        guard="silence when the main process ends",
        file="livecont/live/sounding_process.py",
        before="    core.hush(everything=True)\n    if output.lossy:",
        after="    if output.lossy:",
        tests=(
            "tests/live/test_sounder.py::test_closing_releases_everything_and_ends_the_process",
        ),
    ),
    Mutant(
        guard="the end of the main process is noticed",
        file="livecont/live/sounding_process.py",
        before="        except (EOFError, OSError):\n            self._ending = True",
        after="        except (EOFError, OSError):\n            self._drop(commands)",
        tests=(
            "tests/live/test_sounder.py::test_closing_releases_everything_and_ends_the_process",
        ),
    ),
    Mutant(
        guard="releases after a lost output",
        file="livecont/live/sounding.py",
        before="        self._owed = self._ledger.sweep()",
        after="        self._owed = ()",
        tests=(
            "tests/live/test_sounding.py::"
            "test_a_lost_output_gets_nothing_and_is_released_when_it_is_back",
        ),
    ),
    Mutant(
        guard="the echo guard",
        file="livecont/live/player.py",
        before="ours = self._guard.is_ours(arrival.source, message, arrival.at_s, held=held)",
        after="ours = False and held",
        tests=(
            "tests/live/test_player.py::"
            "test_what_livecont_plans_and_hears_again_does_not_reach_the_sitting",
        ),
    ),
    Mutant(
        guard="the echo guard hears the player without a route",
        file="livecont/live/echo.py",
        before="        return False\n\n    @staticmethod\n    def _found",
        after="        return True\n\n    @staticmethod\n    def _found",
        tests=(
            "tests/live/test_echo.py::"
            "test_without_a_route_the_player_is_heard_playing_the_very_notes_that_are_due",
        ),
    ),
    Mutant(
        guard="the loop of passed notes is cut",
        file="livecont/live/hearing.py",
        before="if _returns(self._passed, data, at_s, max(RETURN_WINDOW_S, within_s)):",
        after="if False and within_s:",
        tests=("tests/live/test_hearing.py::test_what_comes_back_at_once_is_not_sent_round_again",),
    ),
    Mutant(
        guard="what was passed on is released",
        file="livecont/live/hearing.py",
        before="if not self._lifts(data) and self._comes_back(data, at_s):",
        after="if self._comes_back(data, at_s):",
        tests=(
            "tests/live/test_hearing.py::"
            "test_what_was_passed_on_is_released_whatever_else_releases_it",
        ),
    ),
    Mutant(
        guard="late notes are dropped (suspend)",
        file="livecont/live/sounding.py",
        before="if is_strike and now_s() - due_s > self._late_bound_s:",
        after="if is_strike and now_s() - due_s > 1e9:",
        tests=("tests/live/test_sounding.py::test_an_hour_of_late_notes_is_not_fired",),
    ),
    Mutant(
        guard="the inbox is bounded",
        file="livecont/live/hearing.py",
        before="if self._arrivals.qsize() >= self._capacity:",
        after="if self._arrivals.qsize() < 0:",
        tests=(
            "tests/live/test_hearing.py::test_arrivals_come_in_order_and_overruns_are_counted",
            "tests/live/test_runner.py::test_input_without_end_is_counted_told_and_survived",
        ),
    ),
    Mutant(
        guard="what a flooded input loses is counted",
        file="livecont/live/ports.py",
        before="            missed += 1",
        after="            pass",
        tests=(
            "tests/live/test_ports_flood.py::"
            "test_the_queue_is_emptied_and_what_finds_no_room_is_counted",
        ),
    ),
    Mutant(
        guard="a deadline dropped while it is waited for",
        file="livecont/live/sounding.py",
        before="        if not pending:  # dropped meanwhile: the output was lost",
        after="        if pending is None:",
        tests=(
            "tests/live/test_sounding.py::"
            "test_what_was_dropped_while_it_was_prepared_is_not_missed",
        ),
    ),
    Mutant(
        guard="the size of scores is bounded",
        file="livecont/score/untrusted.py",
        before='raise ScoreError(f"larger than {MOST_BYTES // 2**20} MB: no score of a piece")',
        after="pass",
        tests=("tests/score/test_untrusted.py::test_a_file_of_200_mb",),
    ),
    Mutant(
        guard="the size of unpacked scores is bounded",
        file="livecont/score/untrusted.py",
        before='raise ScoreError(f"it unpacks to more than {MOST_BYTES // 2**20} MB: no score of a'
        ' piece")',
        after="pass",
        tests=("tests/score/test_untrusted.py::test_zip_bomb",),
    ),
    Mutant(
        guard="the size of MIDI files is bounded",
        file="livecont/score/smf.py",
        before="    if len(data) > MOST_BYTES:",
        after="    if not data:",
        tests=("tests/score/test_smf.py::test_bounds_hold",),
    ),
    Mutant(
        guard="XML entities are refused",
        file="livecont/score/untrusted.py",
        before="    parser.EntityDeclHandler = refuse",
        after="    parser.EntityDeclHandler = None",
        tests=("tests/score/test_untrusted.py::test_entities_are_refused_in_any_encoding",),
    ),
    Mutant(
        guard="no take is written over",
        file="livecont/live/take_folder.py",
        before='journal = journal_path.open("x+b", buffering=0)',
        after='journal = journal_path.open("w+b", buffering=0)',
        tests=(
            "tests/live/test_take_folder.py::test_a_journal_of_the_same_second_is_not_written_over",
        ),
    ),
    Mutant(
        guard="the take is on disk before a kill",
        file="livecont/live/take.py",
        before="            failed = bool(self._unwritten) and not self._try(self._flush)",
        after="            failed = False",
        tests=("tests/live/test_take.py::test_a_kill_loses_next_to_nothing",),
    ),
    Mutant(
        guard="ticks without end are a fault",
        file="livecont/sitting/virtual.py",
        before="MOST_TICKS = 10_000",
        after="MOST_TICKS = 10**12",  # the test never ends then
        tests=(
            "tests/sitting/test_virtual.py::test_ticks_without_end_are_a_fault_and_no_endless_run",
        ),
    ),
)


def main(argv: list[str]) -> int:
    """Try every mutant, print a table; return 1 where one lives."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench mutations", description=__doc__)
    parser.add_argument("--only", action="append", help="part of a guard's name")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args(argv)
    chosen = [m for m in MUTANTS if not options.only or any(o in m.guard for o in options.only)]
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        copy_tree(copy)
        failing = failures(copy, sorted({test for mutant in chosen for test in mutant.tests}))
        if failing:
            print(f"these fail as it is: {', '.join(failing)}")
            return 1
        rows = [tried(copy, mutant) for mutant in chosen]
    print_table(rows)
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    return 1 if any(not row["killed_by"] for row in rows) else 0


def copy_tree(copy: Path) -> None:
    """Copy what the tests need."""
    copy.mkdir()
    for name in COPIED:
        if (TOP / name).is_dir():
            shutil.copytree(TOP / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(TOP / name, copy / name)


def tried(copy: Path, mutant: Mutant) -> dict[str, object]:
    """Return what a mutant's tests say; the copy is as before afterwards.

    Raises:
        ValueError: the text to be replaced isn't there exactly once: mend the mutant.
    """
    path = copy / mutant.file
    text = path.read_text(encoding="utf-8")
    if text.count(mutant.before) != 1:
        count = text.count(mutant.before)
        raise ValueError(f"{mutant.guard}: found {count} times in {mutant.file}: {mutant.before}")
    path.write_text(text.replace(mutant.before, mutant.after), encoding="utf-8")
    try:
        killed_by = failures(copy, mutant.tests)
    finally:
        path.write_text(text, encoding="utf-8")
    return {"guard": mutant.guard, "file": mutant.file, "killed_by": killed_by}


def failures(copy: Path, tests: Iterable[str]) -> list[str]:
    """Run tests in the copy; return those that fail, or never end."""
    found = []
    for test in tests:
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", test]
        environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
        try:
            done = subprocess.run(
                command,
                cwd=copy,
                env=environment,
                capture_output=True,
                text=True,
                timeout=PATIENCE_S,
                check=False,
            )
        except subprocess.TimeoutExpired:
            found.append(test)
            continue
        if done.returncode not in (0, 1):  # not found, or broken in another way
            raise ValueError(f"{test} can't be run: {done.stdout}{done.stderr}")
        if done.returncode or " passed" not in done.stdout:
            found.append(test)
    return found


def print_table(rows: list[dict[str, object]]) -> None:
    """Print a row for each guard."""
    print("guard taken out                                   test that fails then")
    for row in rows:
        killed_by = row["killed_by"]
        tests = killed_by if isinstance(killed_by, list) else []
        said = tests[0].rpartition("::")[2] if tests else "NONE: the guard is not tested"
        print(f"{row['guard']!s:48}  {said}")
    lived = sum(not row["killed_by"] for row in rows)
    print(f"{len(rows) - lived} of {len(rows)} noticed")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
