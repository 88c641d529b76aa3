"""Fuzz: every reader of untrusted files, fed with mangled ones for as long as is wanted.

    python -m tests.bench fuzz [--minutes 15] [--reader NAME …] [--engine ENGINE] [--jobs 1]

`--minutes` are for each reader. Each runs in a process of its own with 2 GB of memory at most. The
engine `mangle` mangles our own files by chance (seeded); `atheris`, which has to be installed (the
extra `fuzz`), is guided by what the code does with them. A file that makes a reader raise anything
but an error of ours, return what makes no sense, or take longer than 10 s is a finding: told with
its place, once for each place, and kept in tests/fuzz/corpus/READER (or `--keep FOLDER`), where the
tests find it.

Conventions: seconds of one reading; findings by exception and the innermost line of ours.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import json
import random  # noqa: TID251 -- seeded
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from livecont.errors import LivecontError
from livecont.live.clock import SystemClock
from tests.fuzz.mangling import mangled
from tests.fuzz.readers import READERS

TOP = Path(__file__).resolve().parents[2]
CORPUS = TOP / "tests" / "fuzz" / "corpus"
MOST_MEMORY_BYTES = 2 * 2**30
MOST_S = 10.0
CLOCK = SystemClock()


class TooLong(BaseException):
    """A reading took longer than `MOST_S`."""


def main(argv: list[str]) -> int:
    """Fuzz, print a table; return 1 where anything was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=15.0, help="for each reader")
    parser.add_argument("--reader", action="append", choices=sorted(READERS))
    parser.add_argument("--engine", choices=("mangle", "atheris"), default="mangle")
    parser.add_argument("--jobs", type=int, default=1, help="readers at the same time")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=CORPUS)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--inside", help=argparse.SUPPRESS)  # be the process of one reader
    options = parser.parse_args(argv)
    if options.inside:
        return inside(options)
    with ThreadPoolExecutor(options.jobs) as pool:
        names = options.reader or list(READERS)
        rows = list(pool.map(lambda name: outside(name, options), names))
    print_table(rows)
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    return 1 if any(row["findings"] for row in rows) else 0


def outside(name: str, options: argparse.Namespace) -> dict[str, Any]:
    """Run one reader's process; return its row."""
    command = [sys.executable, "-m", "tests.bench", "fuzz", "--inside", name]
    command += ["--minutes", str(options.minutes), "--engine", options.engine]
    command += ["--seed", str(options.seed), "--keep", str(options.keep)]
    done = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=False)
    for line in reversed(done.stdout.splitlines()):
        with contextlib.suppress(ValueError):
            found: dict[str, Any] = json.loads(line)
            return found
    last = done.stderr.strip().splitlines()[-1:] or [f"exit code {done.returncode}"]
    return {"reader": name, "files": 0, "read": 0, "longest_s": 0.0, "findings": last}


@dataclass(slots=True)
class Trial:
    """One reader being tried."""

    name: str
    keep: Path
    folder: Path
    files: int = 0
    read: int = 0
    longest_s: float = 0.0
    findings: dict[str, str] = field(default_factory=dict)

    def warm_up(self) -> None:
        """Read a seed, as long as that takes: what has to be imported is no reading."""
        self.folder.mkdir()
        with contextlib.suppress(LivecontError):
            READERS[self.name].read(READERS[self.name].seeds()[0], self.folder)

    def give(self, data: bytes) -> None:
        """Have one file read; keep it where that goes wrong."""
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir()
        self.files += 1
        began_s = CLOCK.now_s()
        try:
            with bounded_time():
                READERS[self.name].read(data, self.folder)
            self.read += 1
        except LivecontError:
            pass  # refused: well
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            self.note(error, data)
        self.longest_s = max(self.longest_s, CLOCK.now_s() - began_s)

    def note(self, error: BaseException, data: bytes) -> None:
        """Keep a finding, once for each place."""
        frames = traceback.extract_tb(error.__traceback__)
        ours = [one for one in frames if "livecont" in one.filename or "fuzz" in one.filename]
        last = ours[-1] if ours else frames[-1]
        place = f"{type(error).__name__} at {Path(last.filename).name}:{last.lineno} {last.name}"
        if place not in self.findings:
            digest = hashlib.sha256(data).hexdigest()[:12]
            self.findings[place] = digest
            (self.keep / self.name).mkdir(parents=True, exist_ok=True)
            (self.keep / self.name / digest).write_bytes(data)

    def row(self) -> dict[str, Any]:
        """Return the figures."""
        return {
            "reader": self.name,
            "files": self.files,
            "read": self.read,
            "longest_s": round(self.longest_s, 3),
            "findings": [f"{place} ({digest})" for place, digest in self.findings.items()],
        }


@contextlib.contextmanager
def bounded_time() -> Iterator[None]:
    """Break off what takes too long."""

    def too_long(*_: object) -> None:
        raise TooLong

    signal.signal(signal.SIGALRM, too_long)
    signal.setitimer(signal.ITIMER_REAL, MOST_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)


def inside(options: argparse.Namespace) -> int:
    """Be the process of one reader; print its row."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    ends_s = CLOCK.now_s() + 60.0 * options.minutes
    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(options.inside, options.keep, Path(folder) / "a")
        trial.warm_up()
        for path in sorted((CORPUS / trial.name).glob("*")):
            trial.give(path.read_bytes())
        if options.engine == "atheris":
            by_atheris(trial, Path(folder) / "seeds", 60.0 * options.minutes)
        else:
            by_mangling(trial, options.seed, ends_s)
    print(json.dumps(trial.row()), flush=True)
    return 0


def by_mangling(trial: Trial, seed: int, ends_s: float) -> None:
    """Feed what chance makes of our files."""
    reader, rng = READERS[trial.name], random.Random(f"{seed} {trial.name}")
    seeds = reader.seeds()
    while CLOCK.now_s() < ends_s:
        trial.give(mangled(rng, seeds, reader.words))


def by_atheris(trial: Trial, folder: Path, for_s: float) -> None:
    """Feed what libFuzzer makes of them, guided by the branches that our code takes."""
    import atheris  # type: ignore[import-not-found,import-untyped,unused-ignore]

    folder.mkdir()
    for number, data in enumerate(READERS[trial.name].seeds()):
        (folder / str(number)).write_bytes(data)
    atheris.instrument_all()
    ends_s = CLOCK.now_s() + for_s  # that took some seconds

    def one(data: bytes) -> None:
        trial.give(data)
        if CLOCK.now_s() >= ends_s:  # libFuzzer never returns
            print(json.dumps(trial.row()), flush=True)
            shutil.rmtree(folder.parent, ignore_errors=True)
            sys.stdout.flush()
            signal.raise_signal(signal.SIGKILL)

    atheris.Setup([sys.argv[0], str(folder), "-max_len=20000", "-rss_limit_mb=0"], one)
    atheris.Fuzz()


def print_table(rows: list[dict[str, Any]]) -> None:
    """Print a row for each reader, and what was found."""
    print("reader                  files     read  longest (s)  findings")
    for row in rows:
        print(
            f"{row['reader']:20} {row['files']:8} {row['read']:8} {row['longest_s']:12.2f} "
            f"{len(row['findings']):9}"
        )
    for row in rows:
        for finding in row["findings"]:
            print(f"  {row['reader']}: {finding}")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
