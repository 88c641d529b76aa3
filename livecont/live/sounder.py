"""The main process's side of the sounding process: start it, feed it, ask what it did, end it.

Nothing here waits for the sounding process longer than stated, and nothing but `start` and
`revive` raises for what goes wrong on the other side: while playing, `report` tells.

Conventions: times are on the system clock (`live.clock.SystemClock`). Methods may be called from
any thread; `thru` is made for the MIDI input's callback and shares no lock with the others.
"""

from __future__ import annotations

import atexit
import select
import threading
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.lateness import Lateness
from livecont.live.ledger import Ledger
from livecont.live.messages import TimedMessage
from livecont.live.report import SentMessage, SounderReport, SounderState
from livecont.live.sounding import LATE_BOUND_S
from livecont.live.spawning import Line, spawn
from livecont.live.wire import MESSAGE_BYTES, Counts, OutputChoice, Priority, is_message, portions

START_PATIENCE_S = 15.0
START_TRIES = 3
ORDER_PATIENCE_S = 1.0  # for room in the command pipe
CLOSE_PATIENCE_S = 4.0
KILL_PATIENCE_S = 1.0


class _DiedError(PortError):
    """The process died before it was ready."""


class Sounder:
    """A running sounding process. Start it with `Sounder.start`."""

    def __init__(self, output: OutputChoice, late_bound_s: float, urgent: bool) -> None:
        self._choice = output
        self._late_bound_s = late_bound_s
        self._urgent = urgent
        self._clock = SystemClock()
        self._ordering = threading.Lock()  # one for each pipe
        self._passing = threading.Lock()
        self._hearing = threading.Lock()
        self._closed = False
        self._not_passed = self._not_delivered = 0
        self._lateness = Lateness()
        self._sent: list[SentMessage] = []
        self._owed: tuple[bytes, ...] = ()  # releases that a dead process still owes
        self._open()

    @classmethod
    def start(
        cls, output: OutputChoice, *, late_bound_s: float = LATE_BOUND_S, urgent: bool = True
    ) -> Sounder:
        """Start the process; return when the output is open.

        A note-on later than `late_bound_s` is dropped. Without `urgent` the system isn't asked for
        real-time priority.

        Raises:
            PortError: the output can't be opened; one line says why and what to do.
        """
        sounder = cls(output, late_bound_s, urgent)
        atexit.register(sounder.close)
        return sounder

    def play(self, messages: Sequence[TimedMessage]) -> None:
        """Plan messages, in any order of time. Every strike's release must be among them.

        Raises:
            ValueError: one is no MIDI message, or longer than `wire.MESSAGE_BYTES`.
        """
        for message in messages:
            if not is_message(message.data):
                raise ValueError(f"no MIDI message: {message.data.hex(' ')}")
        due = sorted(((one.due_s, bytes(one.data)) for one in messages), key=lambda one: one[0])
        with self._ordering:
            for portion in portions(due):
                if not self._order(("play", portion)):
                    self._not_delivered += len(portion)

    def thru(self, data: bytes) -> None:
        """Pass one message of the player's on at once.

        Never waits and never raises: what can't be passed on is counted.
        """
        try:
            if len(data) > MESSAGE_BYTES:
                raise ValueError(data)
            with self._passing:
                self._line.thru.send_bytes(data)
        except (OSError, ValueError):  # full, gone or closed; or a system exclusive dump
            self._not_passed += 1

    def hush(self, *, everything: bool = False) -> None:
        """Forget what is planned and release our notes at once, or `everything` that sounds.

        Without `everything` the notes that the player holds and that are passed through go on.
        """
        with self._ordering:
            self._order(("hush", everything))

    def sent(self) -> tuple[SentMessage, ...]:
        """Return what went out since the last call, in order; also after `close`."""
        with self._hearing:
            self._hear()
            news, self._sent = tuple(self._sent), []
        return news

    def sounding(self) -> frozenset[tuple[int, int]]:
        """Return the keys that sound at the output, as (channel, pitch), as far as it has told."""
        with self._hearing:
            self._hear()
            return self._ledger.sounding

    def report(self) -> SounderReport:
        """Return how things are."""
        with self._hearing:
            if not self._line.process.is_alive():
                self._state = SounderState.ENDED
            self._hear()
            late = self._lateness
            counts = asdict(self._counts)
            return SounderReport(
                state=self._state,
                output=self._output,
                priority=self._priority,
                trouble=self._trouble_now(),
                pending=self._pending,
                not_passed=self._not_passed,
                not_delivered=self._not_delivered,
                late_p50_s=late.quantile_s(0.5),
                late_p99_s=late.quantile_s(0.99),
                late_most_s=late.most_s,
                **counts,
            )

    def revive(self) -> None:
        """Start the process anew where it died, and release what it left sounding.

        Raises:
            PortError: the output can't be opened, or this sounder was closed.
        """
        if self._closed:
            raise PortError("the sounder was closed; start another")
        if self._line.process.is_alive():
            return
        with self._hearing:
            self._hear()
            # all that it ever struck: its last releases may have gone nowhere, as it did itself;
            # kept where this try comes to nothing
            self._owed = self._ledger.sweep() or self._owed
        with self._ordering, self._passing:
            self._line.end(KILL_PATIENCE_S)
            self._open()
        now_s = self._clock.now_s()
        owed, self._owed = self._owed, ()
        self.play([TimedMessage(due_s=now_s, data=message) for message in owed])

    def close(self) -> None:
        """Release everything and end the process; may be called again, and does nothing then."""
        with self._ordering, self._passing:
            if self._closed:
                return
            self._closed = True
            self._line.commands.close()
            self._line.thru.close()
        atexit.unregister(self.close)
        process = self._line.process
        self._wait_for_end(CLOSE_PATIENCE_S)
        if process.is_alive():
            process.terminate()  # on POSIX it still tries to release everything
            self._wait_for_end(KILL_PATIENCE_S)
        if process.is_alive():
            process.kill()
            process.join(KILL_PATIENCE_S)
        with self._hearing:
            self._hear()
            self._state = SounderState.ENDED

    def _open(self) -> None:
        """Start the process; once more where it dies while it opens the output.

        libjack may crash while a busy server takes a client in (seen: a segmentation fault).
        """
        for _ in range(START_TRIES - 1):
            try:
                self._open_once()
            except _DiedError:
                continue
            return
        self._open_once()

    def _open_once(self) -> None:
        started_s = self._clock.now_s()
        line = spawn(self._choice, self._late_bound_s, self._urgent)
        try:
            name, priority, theirs_s = self._await_ready(line)
            if not started_s <= theirs_s <= self._clock.now_s():
                raise PortError("this system's clock differs between processes: nothing is in time")
        except BaseException:
            line.end(KILL_PATIENCE_S)
            raise
        self._line = line
        self._output, self._priority = name, Priority(priority)
        self._state = SounderState.RUNNING
        self._trouble: str | None = None
        self._counts = Counts()
        self._pending = 0
        self._ledger = Ledger()

    @staticmethod
    def _await_ready(line: Line) -> tuple[str, str, float]:
        replies = line.replies
        try:
            there = replies.poll(START_PATIENCE_S)
            word, *rest = replies.recv() if there else ("late",)
        except (EOFError, OSError) as error:
            line.process.join(KILL_PATIENCE_S)
            raise _DiedError(
                f"the sounding process ended before it was ready (code {line.process.exitcode})"
            ) from error
        if word == "failed":
            raise PortError(rest[0])
        if word != "ready":
            raise PortError(
                f"the sounding process was not ready after {START_PATIENCE_S:.0f} s: the output may"
                " be stuck or the machine too busy; try again, or choose another output"
            )
        return rest[0], rest[1], rest[2]

    def _order(self, frame: tuple[object, ...]) -> bool:
        """Send a command, waiting a bounded time for room; the caller holds `_ordering`."""
        commands = self._line.commands
        patience_ends_s = self._clock.now_s() + ORDER_PATIENCE_S
        while True:
            try:
                commands.send(frame)
            except BlockingIOError:
                if self._clock.now_s() > patience_ends_s:
                    return False
                select.select((), (commands,), (), 0.05)
            except OSError:  # the process is gone, or we closed the pipe
                return False
            else:
                return True

    def _hear(self) -> None:
        """Take in what was told; the caller holds `_hearing`."""
        replies = self._line.replies
        try:
            while replies.poll():
                self._take(*replies.recv())
        except (EOFError, OSError):
            self._state = SounderState.ENDED

    def _take(self, word: str, *rest: Any) -> None:
        if word == "sent":
            for sent_s, due_s, data in rest[0]:
                self._sent.append(SentMessage(sent_s=sent_s, due_s=due_s, data=data))
                self._ledger.admit(data, ours=True)
                if due_s is not None:
                    self._lateness.add(sent_s - due_s)
        elif word == "counts":
            *counts, self._pending = rest[0]
            self._counts = Counts(*counts)
        elif word == "lost":
            self._state, self._trouble = SounderState.LOST, rest[0]
        elif word == "found":
            self._state, self._trouble, self._output = SounderState.RUNNING, None, rest[0]
        elif word == "failed":
            self._trouble = rest[0]

    def _trouble_now(self) -> str | None:
        if self._trouble is None and self._state is SounderState.ENDED and not self._closed:
            return "the sounding process died"
        return self._trouble

    def _wait_for_end(self, patience_s: float) -> None:
        ends_s = self._clock.now_s() + patience_s
        while self._line.process.is_alive() and self._clock.now_s() < ends_s:
            with self._hearing:
                self._hear()
            self._line.process.join(0.02)
