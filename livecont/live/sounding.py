"""The heart of the sounding process: what is due is sent, and what sounds is always released.

Pure apart from its output and the clock function it is given: no process, pipe or thread here, so
that every rule can be tested with a clock moved by hand.

Rules:
- messages go out in the order of (due time, order of arrival);
- a note-on more than `late_bound_s` late is dropped (a machine that slept must not fire an hour of
  late notes); everything else is sent however late, note-offs above all;
- what the player plays goes out at once;
- when the output is lost nothing is sent, what was planned is dropped, and whatever was ever struck
  is released first thing when the output is back: it was lost a little before that was noticed, and
  the releases sent meanwhile with it.

Conventions: times are seconds on the clock given. An output that takes messages ahead of their
time says by how much (`lead_s`); a MIDI port's is 0.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from heapq import heappop, heappush
from typing import Protocol

from livecont.errors import PortError
from livecont.live.ledger import Ledger
from livecont.live.messages import NOTE_ON
from livecont.live.wire import Counts, Due, Sent, is_message

LATE_BOUND_S = 0.25
LOG_MOST = 20_000  # entries kept for a main process that doesn't read them


class Output(Protocol):
    """Where messages go."""

    lead_s: float  # how long before its due time a message is wanted
    lossy: bool  # whether a message may get lost on its way

    def send(self, message: bytes, at_s: float) -> None:
        """Sound `message` at `at_s`, or at once where that has passed.

        Raises:
            PortError: the output is lost.
        """
        ...

    def forget(self) -> None:
        """Drop what was sent ahead of its time and has not sounded yet."""
        ...


class Sounding:
    """The schedule, the ledger and the log of one output."""

    def __init__(
        self, output: Output, now_s: Callable[[], float], late_bound_s: float = LATE_BOUND_S
    ) -> None:
        self.output = output
        self.counts = Counts()
        self.lost: str | None = None  # why the output is lost, while it is
        self.log: list[Sent] = []
        self._now_s = now_s
        self._late_bound_s = late_bound_s
        self._ledger = Ledger()
        self._pending: list[tuple[float, int, bytes]] = []
        self._arrived = 0
        self._owed: tuple[bytes, ...] = ()  # releases that a lost output still has to get

    @property
    def pending(self) -> int:
        """How many planned messages wait for their time."""
        return len(self._pending)

    @property
    def sounding(self) -> frozenset[tuple[int, int]]:
        """The keys that sound now, as (channel, pitch)."""
        return self._ledger.sounding

    def play(self, batch: Iterable[Due]) -> None:
        """Plan messages."""
        for due_s, message in batch:
            if self.lost is not None:
                self.counts.dropped_lost += 1
                continue
            heappush(self._pending, (due_s, self._arrived, message))
            self._arrived += 1

    def thru(self, message: bytes) -> None:
        """Send the player's message at once."""
        if not is_message(message):
            self.counts.dropped_bad += 1
        elif self.lost is not None:
            self.counts.dropped_lost += 1
        else:
            self.counts.passed += 1
            self._send(self._ledger.admit(message, ours=False), None)

    def hush(self, *, everything: bool = False) -> None:
        """Drop what is planned and release our notes, or `everything` that sounds."""
        self._pending.clear()
        if self.lost is not None:
            return
        self.output.forget()
        ledger = self._ledger
        self._send(ledger.release_all() if everything else ledger.release_ours(), None)

    def sweep(self) -> None:
        """At the end: silence once more whatever was ever struck, where a release may be lost."""
        if self.output.lossy and self.lost is None:
            self._send(self._ledger.sweep(), None)

    def send_due(self) -> float | None:
        """Send whatever is due; return when to call next, None where nothing is planned."""
        pending, lead_s, now_s = self._pending, self.output.lead_s, self._now_s
        while pending:
            due_s = pending[0][0]
            if due_s - lead_s > now_s():
                return due_s - lead_s
            message = heappop(pending)[2]
            is_strike = message[0] & 0xF0 == NOTE_ON and message[2] > 0
            if is_strike and now_s() - due_s > self._late_bound_s:
                self._ledger.skip(message)
                self.counts.dropped_late += 1
                continue
            self.counts.scheduled += 1
            self._send(self._ledger.admit(message, ours=True), due_s)
        return None

    def send_next(self, wait: Callable[[float], None]) -> None:
        """Prepare what is due next, `wait` for its moment, and send it.

        For the last instants before a deadline: what is reckoned before the moment doesn't make
        the message late (measured: 30 us less, most of it memory that has gone cold in the wait).
        """
        pending = self._pending
        if not pending:  # dropped meanwhile: the output was lost
            return
        ready: list[bytes] = []
        due_s = pending[0][0]
        while pending and pending[0][0] == due_s:
            ready += self._ledger.admit(heappop(pending)[2], ours=True)
            self.counts.scheduled += 1
        wait(due_s - self.output.lead_s)
        self._send(ready, due_s)

    def lose(self, why: str) -> None:
        """Note that the output is lost: be silent, and remember what to release when it is back."""
        if self.lost is not None:
            return
        self.lost = why
        self.counts.dropped_lost += len(self._pending)
        self._pending.clear()
        self._ledger.release_all()
        self._owed = self._ledger.sweep()

    def find(self) -> None:
        """Note that the output is back, and release what sounded when it was lost."""
        self.lost = None
        owed, self._owed = self._owed, ()
        self._send(owed, None)
        if self.lost is not None:  # gone again in the middle of it
            self._owed = owed

    def _send(self, messages: Sequence[bytes], due_s: float | None) -> None:
        now_s, send, log = self._now_s, self.output.send, self.log
        for message in messages:
            sent_s = now_s()
            at_s = sent_s if due_s is None else due_s
            try:
                send(message, at_s)
            except PortError as error:
                self.lose(str(error))
                return
            log.append((max(sent_s, at_s), due_s, message))
        if len(log) > LOG_MOST:
            self.counts.not_logged += len(log) - LOG_MOST
            del log[: len(log) - LOG_MOST]
