"""Starts the sounding process, light and safe from Ctrl-C, with the pipes that join it to us.

Conventions: `Line` holds our ends. Writing to them never waits on POSIX (a full pipe raises
BlockingIOError); on Windows it does.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import types
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

from livecont.live.sounding_process import Pipes, run
from livecont.live.wire import OutputChoice

_spawning = threading.Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A started process and our ends of its pipes."""

    process: SpawnProcess
    commands: Connection[Any, Any]
    thru: Connection[Any, Any]
    replies: Connection[Any, Any]

    def end(self, patience_s: float) -> None:
        """Kill the process and close the pipes."""
        self.process.kill()
        self.process.join(patience_s)
        for pipe in (self.commands, self.thru, self.replies):
            pipe.close()


def spawn(choice: OutputChoice, late_bound_s: float, urgent: bool) -> Line:
    """Start the process and return at once; it tells by itself when it is ready."""
    context = multiprocessing.get_context("spawn")
    their_commands, commands = context.Pipe(duplex=False)
    their_thru, thru = context.Pipe(duplex=False)
    replies, their_replies = context.Pipe(duplex=False)
    if sys.platform != "win32":
        os.set_blocking(commands.fileno(), False)
        os.set_blocking(thru.fileno(), False)
    pipes = Pipes(commands=their_commands, thru=their_thru, replies=their_replies)
    process = context.Process(
        target=run,
        args=(choice, pipes, os.getpid(), late_bound_s, urgent),
        name="livecont-sounding",
        daemon=True,
    )
    with nothing_inherited():
        process.start()
    for theirs in (their_commands, their_thru, their_replies):
        theirs.close()  # else our copies would keep the pipes from ever ending
    return Line(process=process, commands=commands, thru=thru, replies=replies)


@contextlib.contextmanager
def nothing_inherited() -> Iterator[None]:
    """Keep the process that is started inside from importing our program and from Ctrl-C.

    One at a time.

    The spawn method imports the parent's main module in the child: for a command line program all
    of it, the screen included, which our process doesn't want and a program without a main guard
    doesn't survive. And a Ctrl-C would end the child before it can say that it ignores it.
    """
    with _spawning:
        yield from _set_apart()


def _set_apart() -> Iterator[None]:
    main = sys.modules["__main__"]
    blocked: set[int] = set()
    if sys.platform != "win32":
        from multiprocessing import resource_tracker

        resource_tracker.ensure_running()  # else it is started inside, and unblocks the signal
        blocked = set(signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}))
    sys.modules["__main__"] = types.ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main
        if sys.platform != "win32":
            signal.pthread_sigmask(signal.SIG_SETMASK, blocked)
