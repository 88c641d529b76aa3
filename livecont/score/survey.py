"""Many pieces looked through at once, each in a process that can be given up.

Files are untrusted and read by foreign libraries: a file that takes too long, eats the memory or
brings its reader down costs its own result, nobody else's.

Conventions: times in seconds; a task is a path and a request, its answer a `Survey`. Processes
start by spawn, one a core; each is kept for the next file until it has to be given up.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any

from livecont.errors import ConfigError, LivecontError, ScoreError
from livecont.music.compass import Compass
from livecont.score.confined import bare_main, bound_memory, starting
from livecont.score.reading import SUFFIXES, read_score
from livecont.sequence.finding import Find, Search, find_sequences
from livecont.sequence.finding_listed import Listed, listed
from livecont.sequence.finding_textures import part_named

LONGEST_S = 180.0  # a file that is not read by then is given up
MOST_FILES = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is looked for in every piece; `part` and `bars` are as the user wrote them."""

    compass: Compass
    least_links: int = 2
    least_exact: float = 0.85
    part: str | None = None
    staff: int | None = None
    bars: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What a piece holds, or why it could not be looked through."""

    path: Path
    found: tuple[Listed, ...] = ()
    trouble: str | None = None
    missing: bool = False  # what is wrong is that a library is not installed


def score_files(names: Sequence[str]) -> list[Path]:
    """Return the files named, and those in the folders named, in order of their names.

    Raises:
        ScoreError: nothing there, or too much.
    """
    found: list[Path] = []
    for name in names:
        path = Path(name)
        if path.is_dir():
            inside = sorted(_inside(path))
            if not inside:
                raise ScoreError(f"{path}: no score in this folder ({', '.join(SUFFIXES)})")
            found += inside
        else:
            found.append(path)
        if len(found) > MOST_FILES:
            raise ScoreError(f"more than {MOST_FILES} files: name fewer")
    return list(dict.fromkeys(found))


def _inside(folder: Path) -> Iterator[Path]:
    """Yield the scores below a folder; links to folders are not followed, so there is no circle."""
    for where, folders, names in os.walk(folder):
        folders.sort()
        for name in names:
            if name.lower().endswith(SUFFIXES) and not name.startswith("."):
                yield Path(where) / name


def look_through(path: Path, request: Request) -> Survey:
    """Return what a piece holds; what is wrong with it is part of the answer."""
    try:
        score = read_score(path)
        part = part_named(score, request.part) if request.part is not None else None
        within = score.bars_span(*request.bars) if request.bars is not None else None
        search = Search(
            compass=request.compass,
            least_links=request.least_links,
            least_exact=request.least_exact,
            part=part,
            staff=request.staff,
            within_q=within,
        )
        finds: tuple[Find, ...] = find_sequences(score, search)
    except LivecontError as error:
        missing = isinstance(error, ConfigError)
        told = str(error)
        if not missing and not told.startswith(str(path)):
            told = f"{path}: {told}"
        return Survey(path=path, trouble=told, missing=missing)
    except (MemoryError, RecursionError):
        return Survey(path=path, trouble=f"{path}: too much for this machine")
    return Survey(path=path, found=listed(score, finds))


def survey(
    paths: Sequence[Path],
    request: Request,
    *,
    jobs: int | None = None,
    longest_s: float = LONGEST_S,
    done: Callable[[], None] = lambda: None,
) -> list[Survey]:
    """Look through pieces on all cores; return the answers in the order of the paths.

    Args:
        paths: the files.
        request: what is looked for.
        jobs: how many processes; None for one a core.
        longest_s: a file that takes longer is given up.
        done: called after each file, from any thread.
    """
    count = max(1, min(len(paths), jobs or os.cpu_count() or 1))
    mine = threading.local()
    readers: list[_Reader] = []

    def one(path: Path) -> Survey:
        if not hasattr(mine, "reader"):
            mine.reader = _Reader()
            readers.append(mine.reader)
        answer: Survey = mine.reader.ask(path, request, longest_s)
        done()
        return answer

    pool = ThreadPoolExecutor(max_workers=count, thread_name_prefix="livecont-survey")
    try:
        return list(pool.map(one, paths))
    finally:
        pool.shutdown(wait=False, cancel_futures=True)
        for reader in readers:
            reader.end()
        pool.shutdown(wait=True)


class _Reader:
    """A process that looks through one file after the other, and its successor if it is lost."""

    def __init__(self) -> None:
        self._process: SpawnProcess | None = None
        self._line: Connection[Any, Any] | None = None

    def ask(self, path: Path, request: Request, longest_s: float) -> Survey:
        """Return the answer for a file."""
        try:
            line = self._open()
            line.send((path, request))
            if not line.poll(longest_s):
                self.end()
                return Survey(path=path, trouble=f"{path}: given up after {longest_s:.0f} s")
            answer = line.recv()
        except (EOFError, OSError):
            self.end()
            return Survey(path=path, trouble=f"{path}: it brought down the process that read it")
        return answer if isinstance(answer, Survey) else Survey(path=path, trouble=str(answer))

    def _open(self) -> Connection[Any, Any]:
        if self._line is None:
            context = multiprocessing.get_context("spawn")
            self._line, theirs = context.Pipe()
            self._process = context.Process(
                target=_serve, args=(theirs,), name="livecont-reader", daemon=True
            )
            with starting, bare_main():
                self._process.start()
            theirs.close()  # else the line would not end with the process
        return self._line

    def end(self) -> None:
        """Kill the process, whatever it does."""
        process, line = self._process, self._line
        self._process = self._line = None
        if process is not None:
            process.kill()
            process.join(5)
        if line is not None:
            line.close()


def _serve(line: Connection[Any, Any]) -> None:
    """Answer until the line ends. Ctrl-C is the parent's affair, who ends us."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    bound_memory()
    while True:
        try:
            path, request = line.recv()
        except (EOFError, OSError):
            return
        line.send(look_through(path, request))
