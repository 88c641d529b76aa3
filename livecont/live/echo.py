"""Tells our own output, come back through some route, from the player's hands.

A route may lead from our output to an input: a through port, a keyboard that echoes what it gets,
two programs in a loop. Then nearly everything we send returns, soon, always after about the same
time, with the same pitch and velocity. The player may really strike the due note himself, with
the same velocity even, and is to be heard; so what counts is whether there is a route. For each
input it is

- `known`: a message that equals one we sent, not later than the route's latency and some slack, is
  ours. Each message sent is recognised once, so that a player's equal note beside it is heard.
- `absent`: nothing is ours. The player is always heard.
- `unknown`, for as short as possible: an equal message within `WINDOW_S` is taken for ours.

How it is learned:

- A probe: a note-off for a key that nobody holds, harmless to any synth, sent when an output or an
  input is opened and before each take-over (`probe`). It returns: known. It doesn't within
  `PROBE_S`: an unknown route is absent, a known one unknown again.
- What we send tells as well. From unknown: two returns make known, `MISSES_ABSENT` messages without
  return absent. From known: `MISSES_GONE` without return make it absent. From absent (a cable
  plugged in while sounding): three returns in a row within `STEADY_S` of each other, closer than
  hands can keep to (sensorimotor synchronisation has a spread of some 10 ms and more), or the
  return of a note that was passed through, while the player still holds its key. A route that was
  found so in spite of a failed probe swallows probes, so these say nothing about it from then on.

Conventions: seconds on the live clock. Messages are whole MIDI 1.0 channel messages; the channel
may be changed on the way, pitch and velocity may not. Releases and pedals are recognised like
strikes. Sent messages may be told ahead of their time. For one thread only.
"""

from __future__ import annotations

import heapq
import itertools
from collections import deque
from collections.abc import Container, Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from livecont.live.messages import CONTROL_CHANGE, NOTE_OFF, NOTE_ON

WINDOW_S = 0.3  # no route that can be played with is slower
EARLY_S = 0.003  # stamps may be so much too early
SLACK_S = 0.03  # a busy machine on either side
PROBE_S = 0.25
STEADY_S = 0.003  # JACK's period of 64 frames makes 1.3 ms
STEADY_RETURNS = 3
UNKNOWN_RETURNS = 2
MISSES_ABSENT = 4
MISSES_GONE = 8
HELD_RETURN_S = 0.05  # a key still down can't be struck again so soon
MOST_SENT = 20_000  # entries kept, should the clock stand still
_CHANNEL_MODE = 120  # controllers from here on are channel mode messages
_PROBE_PITCHES = range(100, 20, -1)

Meaning = tuple[int, int, int]  # kind, first data byte, second (0 for releases)


class Route(StrEnum):
    """What is known of a way from our output to an input."""

    UNKNOWN = "unknown"
    KNOWN = "known"
    ABSENT = "absent"


@dataclass(slots=True, eq=False)
class _Sent:
    """One message of ours, and the inputs at which it was seen to return."""

    at_s: float
    meaning: Meaning
    passed: bool  # the player's own, passed through
    returned_at: set[str] = field(default_factory=set)
    withdrawn: bool = False


@dataclass(slots=True)
class _Path:
    """What is known of the route to one input."""

    route: Route = Route.UNKNOWN
    latency_s: float = 0.0
    misses: int = 0
    delays_s: deque[float] = field(default_factory=lambda: deque(maxlen=STEADY_RETURNS))
    swallows_probes: bool = False


class EchoGuard:
    """What we sent lately, and what is known of each input's route."""

    def __init__(self) -> None:
        self._paths: dict[str, _Path] = {}
        self._sent: dict[Meaning, deque[_Sent]] = {}
        self._by_time: list[tuple[float, int, _Sent]] = []
        self._count = itertools.count()
        self._probe: tuple[float, int] | None = None  # when, and the pitch
        self._probed: set[str] = set()  # inputs at which the probe has returned

    def route(self, source: str) -> Route:
        """Return what is known of the route to an input."""
        return self._path(source).route

    @property
    def longest_s(self) -> float | None:
        """The latency of the slowest known route, None where there is none."""
        known = [path.latency_s for path in self._paths.values() if path.route is Route.KNOWN]
        return max(known, default=None)

    @property
    def remembered(self) -> int:
        """How many messages sent may still return."""
        return len(self._by_time)

    def forget_route(self, source: str) -> None:
        """Note that an input is (again) listened to: nothing is known of its route."""
        self._paths[source] = _Path()

    def probe(self, at_s: float, held: Container[int], sounding: Container[int]) -> bytes | None:
        """Return a message to send now, whose return tells of a route; None while one is out."""
        self._settle(at_s)
        if self._probe is not None:
            return None
        for pitch in _PROBE_PITCHES:
            if pitch not in held and pitch not in sounding and not self._near(pitch, at_s):
                self._probe = (at_s, pitch)
                self._probed = set()
                return bytes((NOTE_OFF, pitch, 0))
        return None

    def sent(self, message: bytes, at_s: float, *, passed: bool = False) -> None:
        """Note a message that goes out at `at_s`; `passed`: the player's, passed through."""
        meaning = _meaning(message)
        if meaning is None or len(self._by_time) >= MOST_SENT:
            return
        entry = _Sent(at_s, meaning, passed)
        self._sent.setdefault(meaning, deque()).append(entry)
        heapq.heappush(self._by_time, (at_s, next(self._count), entry))

    def hushed(self, at_s: float) -> None:
        """Note that what was planned for later is not sent, and what sounded is released now."""
        lifted: set[Meaning] = set()
        for due_s, _, entry in self._by_time:
            if due_s <= at_s or entry.passed:
                continue
            entry.withdrawn = True
            kind, first, _ = entry.meaning
            if kind in (NOTE_OFF, CONTROL_CHANGE):
                lifted.add((kind, first, 0))
        for kind, first, second in lifted:
            self.sent(bytes((kind, first, second)), at_s)

    def is_ours(self, source: str, message: bytes, at_s: float, *, held: bool) -> bool:
        """Whether a message that came in is our own; `held`: the player has that key down there."""
        self._settle(at_s)
        meaning = _meaning(message)
        if meaning is None:
            return False
        path = self._path(source)
        kind, first, _ = meaning
        if kind == NOTE_OFF and not held and self._returns_probe(source, path, first, at_s):
            return True
        if kind == CONTROL_CHANGE and first >= _CHANNEL_MODE:
            return path.route is Route.KNOWN
        entry = self._find(source, path, meaning, at_s)
        if entry is None:
            return False
        if kind == NOTE_ON:
            entry.returned_at.add(source)
            return self._learn(path, entry, at_s - entry.at_s, held=held)
        if path.route is Route.ABSENT or (path.route is Route.UNKNOWN and held):
            return False
        entry.returned_at.add(source)
        return True

    def _path(self, source: str) -> _Path:
        return self._paths.setdefault(source, _Path())

    def _find(self, source: str, path: _Path, meaning: Meaning, at_s: float) -> _Sent | None:
        """Return the message of ours that this would be, the likeliest one by its delay."""
        latency_s = path.latency_s if path.route is Route.KNOWN else 0.0
        known = path.route is Route.KNOWN
        longest_s = latency_s + max(SLACK_S, latency_s) if known else WINDOW_S
        best: tuple[float, _Sent] | None = None
        for entry in self._sent.get(meaning, ()):
            delay_s = at_s - entry.at_s
            if not -EARLY_S <= delay_s <= longest_s or entry.withdrawn:
                continue
            if source in entry.returned_at:
                continue
            distance_s = abs(delay_s - latency_s)
            if best is None or distance_s < best[0]:
                best = (distance_s, entry)
        return best[1] if best else None

    def _learn(self, path: _Path, entry: _Sent, delay_s: float, *, held: bool) -> bool:
        """Take in that a strike may have returned; return whether it is to be taken for ours."""
        path.misses = 0
        path.delays_s.append(delay_s)
        if path.route is Route.KNOWN:
            path.latency_s += 0.2 * (delay_s - path.latency_s)
            return True
        sure = entry.passed and held and delay_s <= HELD_RETURN_S
        if path.route is Route.UNKNOWN:
            if sure or len(path.delays_s) >= UNKNOWN_RETURNS:
                self._found(path, delay_s)
            return True
        steady = (
            len(path.delays_s) == STEADY_RETURNS
            and max(path.delays_s) - min(path.delays_s) <= STEADY_S
        )
        if sure or steady:
            path.swallows_probes = True
            self._found(path, delay_s)
            return True
        return False

    @staticmethod
    def _found(path: _Path, latency_s: float) -> None:
        path.route = Route.KNOWN
        path.latency_s = max(0.0, latency_s)
        path.misses = 0

    def _returns_probe(self, source: str, path: _Path, pitch: int, at_s: float) -> bool:
        if self._probe is None or pitch != self._probe[1] or source in self._probed:
            return False
        self._probed.add(source)
        self._found(path, at_s - self._probe[0])
        return True

    def _settle(self, now_s: float) -> None:
        """Take in what has not returned in time."""
        if self._probe is not None and now_s - self._probe[0] > PROBE_S:
            self._probe = None
            for source, path in self._paths.items():
                if source not in self._probed and not path.swallows_probes:
                    known = path.route is Route.KNOWN
                    path.route = Route.UNKNOWN if known else Route.ABSENT
                    path.delays_s.clear()
                    path.misses = 0
        while self._by_time and self._by_time[0][0] < now_s - WINDOW_S:
            entry = heapq.heappop(self._by_time)[2]
            same = self._sent[entry.meaning]
            same.remove(entry)
            if not same:
                del self._sent[entry.meaning]
            if entry.meaning[0] == NOTE_ON and not entry.withdrawn:
                self._miss(entry)

    def _miss(self, entry: _Sent) -> None:
        for source, path in self._paths.items():
            if source in entry.returned_at:
                continue
            path.delays_s.clear()
            path.misses += 1
            most = MISSES_GONE if path.route is Route.KNOWN else MISSES_ABSENT
            if path.misses >= most:
                self._paths[source] = _Path(route=Route.ABSENT)

    def _near(self, pitch: int, at_s: float) -> bool:
        """Whether a key of ours is struck or released about now."""
        meanings: Iterable[Meaning] = (m for m in self._sent if m[0] != CONTROL_CHANGE)
        return any(
            meaning[1] == pitch and any(abs(e.at_s - at_s) <= 1.0 for e in self._sent[meaning])
            for meaning in meanings
        )


def _meaning(message: bytes) -> Meaning | None:
    """Return what a message says, whatever its channel; None for what is never compared."""
    if len(message) != 3:
        return None
    kind, first, second = message[0] & 0xF0, message[1], message[2]
    if kind == NOTE_OFF or (kind == NOTE_ON and second == 0):
        return (NOTE_OFF, first, 0)
    if kind in (NOTE_ON, CONTROL_CHANGE):
        return (kind, first, second)
    return None
