"""Work on files that nobody vouches for, in a process of its own: bounded in time and memory.

Conventions: the work is a function of a module, what goes in and comes out can be pickled. What it
raises of our own family is raised here; a process that is lost, or takes too long, is a
`ScoreError`.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
import sys
import threading
import types
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any, ParamSpec, TypeVar, cast

from livecont.errors import LivecontError, ScoreError

LONGEST_S = 180.0
MOST_MEMORY = (
    6 * 2**30
)  # bytes of address space for one reader, where the system can hold it to that

_Given = ParamSpec("_Given")
_Answer = TypeVar("_Answer")
starting = threading.Lock()


def confined(
    work: Callable[_Given, _Answer], *given: _Given.args, **named: _Given.kwargs
) -> _Answer:
    """Return what a function returns, worked out in a process of its own.

    Raises:
        ScoreError: it took longer than three minutes, or brought its process down.
        LivecontError: whatever the function raises of the family.
    """
    context = multiprocessing.get_context("spawn")
    line, theirs = context.Pipe()
    process = context.Process(
        target=_work, args=(theirs, work, given, named), name="livecont-reader", daemon=True
    )
    try:
        with starting, bare_main():
            process.start()
        theirs.close()  # else the line would not end with the process
        if not line.poll(LONGEST_S):
            raise ScoreError(f"given up after {LONGEST_S:.0f} s")
        answer = line.recv()
    except (EOFError, OSError) as error:
        raise ScoreError("it brought down the process that read it") from error
    finally:
        process.kill()
        process.join(5)
        line.close()
    if isinstance(answer, _Failed):
        raise answer.error
    return cast("_Answer", answer)


class _Failed:
    """What the work came to where it failed."""

    def __init__(self, error: Exception) -> None:
        self.error = error


def _work(line: Connection[Any, Any], work: Callable[..., Any], given: Any, named: Any) -> None:
    """Work, and send the answer. Ctrl-C is the parent's affair, who ends us."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    bound_memory()
    try:
        answer = work(*given, **named)
    except LivecontError as error:
        answer = _Failed(type(error)(str(error)))
    except (MemoryError, RecursionError):
        answer = _Failed(ScoreError("too much for this machine"))
    line.send(answer)


@contextlib.contextmanager
def bare_main() -> Iterator[None]:
    """Keep the process that is started from importing our program's main module again."""
    main = sys.modules["__main__"]
    sys.modules["__main__"] = types.ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main


def bound_memory() -> None:
    """Bound this process's memory, where the system can."""
    if sys.platform == "win32":
        return
    import resource

    with contextlib.suppress(ValueError, OSError):  # macOS holds no process to it
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
