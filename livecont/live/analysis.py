"""Has patterns worked out in a process of their own, so that no note ever waits for it.

What a pattern is takes some tens of milliseconds to find, of an interpreter that the notes need. A
thread here does nothing but hand the latest pattern over and wait for the answer. Where the process
dies or does not answer it is started again, a few times; without it everything but the explanation
goes on.

Conventions: seconds on the live clock. `ask` may be called from any thread and never waits.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

from livecont.live.analysis_process import run
from livecont.live.clock import Clock
from livecont.live.spawning import nothing_inherited
from livecont.sequence.pattern import Pattern
from livecont.sitting.events import Analysed

ANSWER_PATIENCE_S = 20.0  # the first answer waits for the process to start, on a busy machine
END_PATIENCE_S = 1.0
MOST_STARTS = 3
_Question = tuple[Pattern, int]  # a pattern, and which of its links is in its key


class Analyst:
    """Works out what patterns are; of those that wait only the latest."""

    def __init__(self, clock: Clock, tell: Callable[[str], object] = lambda _: None) -> None:
        self._clock, self._tell = clock, tell
        self._answer: Callable[[Analysed], object] = lambda _: None
        self._wanted: _Question | None = None
        self._woken = threading.Event()
        self._closed = False
        self._starts = 0
        self._since_s: float | None = None  # when the question was put that waits for its answer
        self._process: SpawnProcess | None = None
        self._pipe: Connection[Any, Any] | None = None
        self._thread = threading.Thread(target=self._serve, name="analysis", daemon=True)

    def start(self, answer: Callable[[Analysed], object]) -> None:
        """Begin; every answer goes to `answer`, from a thread of its own."""
        self._answer = answer
        self._thread.start()

    def ask(self, pattern: Pattern, home: int = 1) -> None:
        """Have a pattern worked out, before any that still waits; `home` as in `explain`."""
        self._wanted = pattern, home
        process, since_s = self._process, self._since_s
        late = since_s is not None and self._clock.now_s() > since_s + ANSWER_PATIENCE_S
        if late and process is not None:
            process.kill()  # it hangs; a new one is started
        self._woken.set()

    def close(self) -> None:
        """End thread and process; may be called again, and without `start`."""
        self._closed = True
        self._woken.set()
        process = self._process
        if process is not None:
            process.kill()  # so that nobody waits for an answer
        if self._thread.is_alive():
            self._thread.join(END_PATIENCE_S)
        self._end()

    # --- the thread -------------------------------------------------------------------------------

    def _serve(self) -> None:
        try:
            self._begin()  # before the first note, so that the first answer is soon there
            while not self._closed and self._starts <= MOST_STARTS:
                self._woken.wait()
                self._woken.clear()
                question, self._wanted = self._wanted, None
                if question is not None and not self._closed:
                    self._work_out(question)
        except OSError as error:  # no process can be started
            self._tell(f"no harmonic label in this sitting: {error}")
        finally:
            self._end()

    def _work_out(self, question: _Question) -> None:
        found = self._asked(question)
        self._since_s = None
        if self._closed:
            return
        if found is None:
            self._end()
            self._begin()
            if self._starts > MOST_STARTS:
                self._tell("no harmonic label in this sitting: its process ends again and again")
        elif isinstance(found, str):
            self._tell(f"no harmonic label for this sequence: {found}")
        else:
            at_s = self._clock.now_s()
            self._answer(Analysed(at_s=at_s, pattern=question[0], explanation=found))

    def _asked(self, question: _Question) -> Any:
        """The answer; None where the process is gone or does not answer."""
        pipe = self._pipe
        if pipe is None:
            return None
        with contextlib.suppress(OSError, EOFError):
            self._since_s = self._clock.now_s()
            pipe.send(question)
            # where the process is killed the pipe ends, and this with it
            return pipe.recv()
        return None

    def _begin(self) -> None:
        self._starts += 1
        if self._starts > MOST_STARTS:
            return
        context = multiprocessing.get_context("spawn")
        pipe, theirs = context.Pipe()
        process = context.Process(target=run, args=(theirs,), name="livecont-analysis", daemon=True)
        with nothing_inherited():
            process.start()
        theirs.close()  # else our copy would keep the pipe from ever ending
        self._process, self._pipe = process, pipe

    def _end(self) -> None:
        pipe, self._pipe = self._pipe, None
        process, self._process = self._process, None
        if pipe is not None:
            pipe.close()
        if process is not None:
            process.kill()
            process.join(END_PATIENCE_S)
