"""From the driver's callback to the runner: arrivals are stamped and queued, nothing else.

The callback runs in the driver's thread and may wait for the interpreter, on a busy machine some
5 ms. The driver's own time since its message before stays right all the same, so stamps are the
sum of those, held against the clock (`Stamps`). The queue is bounded: what does not fit is counted
and shown, never waited for. Only what is to be passed through to the synth is also sent from the
callback (`Thru`), for the least delay.

Conventions: `at_s` is on the live clock. A source is the name of an input port. `Inbox` may be
filled by any thread and is emptied by one.
"""

from __future__ import annotations

import collections
import queue
import threading
from collections.abc import Callable, Sequence
from typing import Generic, NamedTuple, TypeVar

from livecont.live.clock import Clock
from livecont.live.hands import message_length
from livecont.live.messages import CONTROL_CHANGE, NOTE_OFF, NOTE_ON

CAPACITY = 4096  # half a second of the densest stream seen; a player makes some 100 a second
SETTLE_MESSAGES = 8  # so many late stamps in a row are no accident
TRUE_WITHIN_S = 0.001  # driver and clock agree within 11 us on an idle machine (measured)
LOST_TRACK_S = 0.05  # further apart than a busy interpreter makes them
RETURN_WINDOW_S = 0.02  # a message that comes back sooner is our own; no key repeats so fast
MOST_PLANNED = 16  # moments kept of one planned message

Item = TypeVar("Item")


class Arrival(NamedTuple):
    """Bytes from an input, when they came, and whether they were passed through already."""

    source: str
    at_s: float
    data: bytes
    passed: bool


class Stamps:
    """Arrival times of one input, from the driver's deltas and the clock.

    A callback is never early, so the smallest distance between clock and sum of deltas is the true
    one. The sum is set back to the clock where it runs ahead, where it has fallen behind by
    `LOST_TRACK_S` (the driver counts no time for messages it was told to ignore), and where it
    was behind for `SETTLE_MESSAGES` in a row.
    """

    __slots__ = ("_at_s", "_behind")

    def __init__(self) -> None:
        self._at_s: float | None = None
        self._behind: list[float] = []

    def stamp(self, delta_s: float, now_s: float) -> float:
        """Return when a message came: `delta_s` after the one before, heard of at `now_s`."""
        if self._at_s is None:
            self._at_s = now_s
            return now_s
        at_s = self._at_s + delta_s
        behind_s = now_s - at_s
        if not 0.0 <= behind_s <= LOST_TRACK_S:  # NaN too
            self._behind.clear()
            self._at_s = now_s
            return now_s
        if behind_s <= TRUE_WITHIN_S:
            self._behind.clear()
        else:
            self._behind.append(behind_s)
            if len(self._behind) >= SETTLE_MESSAGES:
                at_s += min(self._behind)
                self._behind.clear()
        self._at_s = at_s
        return at_s


class Inbox(Generic[Item]):
    """What waits for the runner: arrivals in order, bounded; and what can't wait behind them.

    Never blocks the one who fills it.
    """

    def __init__(self, capacity: int = CAPACITY) -> None:
        self.overruns = 0  # arrivals that found no room
        self._counting = threading.Lock()  # several inputs may overrun at the same time
        self._capacity = capacity
        self._arrivals: queue.SimpleQueue[Arrival | None] = queue.SimpleQueue()
        self._urgent: collections.deque[Item] = collections.deque()

    def arrive(self, arrival: Arrival) -> None:
        """Add an arrival, or count it where there is no room."""
        if self._arrivals.qsize() >= self._capacity:
            self.miss(1)
        else:
            self._arrivals.put(arrival)

    def miss(self, count: int) -> None:
        """Count arrivals that found no room somewhere."""
        with self._counting:
            self.overruns += count

    def post(self, item: Item) -> None:
        """Add something that goes before all arrivals; there is always room."""
        self._urgent.append(item)
        self._arrivals.put(None)  # wakes the runner

    def take(self, timeout_s: float) -> Arrival | Item | None:
        """Return the next item, waiting for it at most so long; None where nothing came."""
        if self._urgent:
            return self._urgent.popleft()
        try:
            arrival = self._arrivals.get(timeout=max(0.0, timeout_s))
        except queue.Empty:
            return None
        if arrival is None:  # a post woke us, or was taken already
            return self._urgent.popleft() if self._urgent else None
        return arrival

    @property
    def empty(self) -> bool:
        """Whether nothing waits."""
        return not self._urgent and self._arrivals.empty()


class Thru:
    """Passes the player's messages on to the synth, from the driver's callback.

    Channel messages only, without the controls that are taken away from the music. What comes back
    through a loop is not sent round again: a message equal to one that was passed on within
    `RETURN_WINDOW_S` stays here. Where the echo guard has learned of a route, `returns_within_s` is
    more than 0: then whatever equals a message that was passed on or planned so shortly before
    stays here. What releases a key or a pedal that was passed on is always passed on, whatever it
    equals: released twice harms nobody, and never released is a note that hangs.
    """

    def __init__(
        self,
        send: Callable[[bytes], object],
        *,
        controllers: frozenset[int] = frozenset(),
        pitches: frozenset[int] = frozenset(),
    ) -> None:
        self.returns_within_s = 0.0
        self._send = send
        self._controllers = controllers
        self._pitches = pitches
        self._passed: dict[bytes, tuple[float, ...]] = {}
        self._planned: dict[bytes, tuple[float, ...]] = {}
        self._down: set[tuple[int, int]] = set()  # status and number of what was passed on

    def plan(self, data: bytes, due_s: float) -> None:
        """Note that livecont itself sends a message then."""
        if len(self._planned) >= CAPACITY:
            self._planned.clear()
        # the same note may be planned for several links to come
        self._planned[data] = (*self._planned.get(data, ())[1 - MOST_PLANNED :], due_s)

    def forward(self, data: bytes, at_s: float) -> bool:
        """Pass a message on; return whether it was."""
        if not data or not 0x80 <= data[0] < 0xF0 or len(data) != message_length(data[0]):
            return False
        kind = data[0] & 0xF0
        if kind == CONTROL_CHANGE and data[1] in self._controllers:
            return False
        if kind <= NOTE_ON and data[1] in self._pitches:
            return False
        if not self._lifts(data) and self._comes_back(data, at_s):
            return False
        if len(self._passed) >= CAPACITY:  # pitch bends by the thousand: forget them
            self._passed.clear()
        self._passed[data] = (at_s,)
        if kind in (NOTE_ON, CONTROL_CHANGE) and data[2]:
            self._down.add((data[0], data[1]))
        self._send(data)
        return True

    def _lifts(self, data: bytes) -> bool:
        """Whether this releases a key or pedal that was passed on; keeps account of them."""
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind not in (NOTE_OFF, NOTE_ON, CONTROL_CHANGE):
            return False
        number = ((CONTROL_CHANGE if kind == CONTROL_CHANGE else NOTE_ON) | channel, data[1])
        if kind != NOTE_OFF and data[2]:
            return False
        lifts = number in self._down
        self._down.discard(number)
        return lifts

    def _comes_back(self, data: bytes, at_s: float) -> bool:
        within_s = self.returns_within_s
        if _returns(self._passed, data, at_s, max(RETURN_WINDOW_S, within_s)):
            return True
        return within_s > 0.0 and _returns(self._planned, data, at_s, within_s)


def _returns(
    sent: dict[bytes, tuple[float, ...]], data: bytes, at_s: float, within_s: float
) -> bool:
    return any(0.0 <= at_s - sent_s < within_s for sent_s in sent.get(data, ()))


class Ear:
    """The driver's callback of one input."""

    __slots__ = ("_clock", "_inbox", "_source", "_stamps", "_thru")

    def __init__(
        self, source: str, inbox: Inbox[Item], clock: Clock, thru: Thru | None = None
    ) -> None:
        self._source = source
        self._inbox = inbox
        self._clock = clock
        self._thru = thru
        self._stamps = Stamps()

    def __call__(self, heard: tuple[Sequence[int], float], _context: object = None) -> None:
        """Stamp and queue; pass on where that is wanted."""
        message, delta_s = heard
        at_s = self._stamps.stamp(delta_s, self._clock.now_s())
        if not message or message[0] >= 0xF8:  # clock and active sensing: only their time counts
            return
        data = bytes(message)
        passed = self._thru is not None and self._thru.forward(data, at_s)
        self._inbox.arrive(Arrival(self._source, at_s, data, passed))
