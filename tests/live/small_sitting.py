"""A sounding process in memory that keeps the real one's ledger, and a sitting small to see."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from types import SimpleNamespace

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.messages import TimedMessage
from livecont.live.parts import Machine, Voice
from livecont.live.report import SentMessage, SounderReport, SounderState
from livecont.live.runner import Runner
from livecont.live.sounding import Sounding
from livecont.live.wire import Priority
from livecont.music.compass import Compass
from livecont.music.key import parse_key
from livecont.music.pitch import Spelling
from livecont.sequence.events import KeyDown
from livecont.sequence.pattern import Link, LinkNote, PedalMark
from livecont.sitting.events import (
    Cue,
    Effect,
    Ended,
    Hush,
    Settings,
    SittingEvent,
    Sound,
    Stop,
    Wake,
)
from livecont.sitting.snapshot import Phase, Snapshot

COMPASS = Compass(
    name="modern", title="modern", lowest=21, highest=108, absent=frozenset(), source=""
)
SETTINGS = Settings(key=parse_key("C major"), compass=COMPASS)
CONTROLS = SimpleNamespace(pedals={66: "stop"}, keys={}, computer={"s": "stop", "q": "quit"})
PATIENCE_S = 20.0


class MemoryOutput:
    """Keeps what was sent."""

    lead_s = 0.0
    lossy = False

    def __init__(self) -> None:
        self.sent: list[bytes] = []

    def send(self, message: bytes, at_s: float) -> None:
        self.sent.append(message)

    def forget(self) -> None:
        pass


class MemoryVoice:
    """The sounding process's rules without the process: what is due is sent at the next call."""

    def __init__(self) -> None:
        self.output = MemoryOutput()
        self.core = Sounding(self.output, SystemClock().now_s)
        self.state = SounderState.RUNNING
        self.closed = False
        self.revived = 0

    def play(self, messages: Sequence[TimedMessage]) -> None:
        self.core.play([(message.due_s, message.data) for message in messages])
        self.core.send_due()

    def thru(self, data: bytes) -> None:
        self.core.thru(data)

    def hush(self, *, everything: bool = False) -> None:
        self.core.hush(everything=everything)

    def sent(self) -> tuple[SentMessage, ...]:
        self.core.send_due()
        log, self.core.log = self.core.log, []
        return tuple(SentMessage(sent_s=s, due_s=d, data=data) for s, d, data in log)

    def sounding(self) -> frozenset[tuple[int, int]]:
        return self.core.sounding

    def report(self) -> SounderReport:
        return SounderReport(
            state=self.state,
            output="memory",
            priority=Priority.NORMAL,
            trouble=None if self.state is SounderState.RUNNING else "the cable is out",
            scheduled=self.core.counts.scheduled,
            passed=self.core.counts.passed,
            pending=self.core.pending,
            dropped_late=0,
            dropped_lost=0,
            dropped_bad=self.core.counts.dropped_bad,
            not_passed=0,
            not_delivered=0,
            not_logged=0,
            late_p50_s=0.0,
            late_p99_s=0.0,
            late_most_s=0.0,
        )

    def revive(self) -> None:
        self.revived += 1
        if self.revived < 3:
            raise PortError("not yet")
        self.state = SounderState.RUNNING

    def close(self) -> None:
        self.core.hush(everything=True)
        self.closed = True


def link(pitch: int) -> Link:
    """Two notes a third apart and a pedal that stays down."""
    notes = tuple(
        LinkNote(
            offset_s=0.02 * k,
            duration_s=0.03,
            spelling=Spelling(staff=28, alter=pitch + 4 * k - 60),
            velocity=80,
            channel=k,
        )
        for k in range(2)
    )
    pedal = PedalMark(offset_units=0.0, controller=64, value=127)
    return Link(number=3, unit_s=0.1, notes=notes, pedals=(pedal,))


@dataclass(frozen=True)
class Heard:
    """The state of the small sitting: what it was told."""

    events: tuple[SittingEvent, ...] = ()


@dataclass
class Small:
    """A sitting that sounds a link for each key struck and falls silent for key 1."""

    fault: Exception | None = None
    heard: list[SittingEvent] = field(default_factory=list)

    def begin(self, settings: Settings) -> Heard:
        return Heard()

    def step(self, state: Heard, event: SittingEvent) -> tuple[Heard, tuple[Effect, ...]]:
        if self.heard:
            assert event.at_s >= self.heard[-1].at_s, "events come in time order"
        self.heard.append(event)
        if self.fault is not None and isinstance(event, KeyDown):
            raise self.fault
        effects: tuple[Effect, ...] = ()
        if isinstance(event, KeyDown) and event.pitch == 1:
            effects = (Hush(at_s=event.at_s),)
        elif isinstance(event, KeyDown):
            effects = (Sound(start_s=event.at_s, link=link(min(event.pitch, 110))),)
        elif isinstance(event, Cue):
            effects = (Wake(at_s=event.at_s + 0.02),)
        elif isinstance(event, Stop):
            effects = (Hush(at_s=event.at_s), Ended(at_s=event.at_s, reason="stopped"))
        return replace(state, events=(*state.events[-20:], event)), effects

    def snapshot(self, state: Heard, at_s: float) -> Snapshot:
        return Snapshot(
            at_s=at_s,
            phase=Phase.LISTENING,
            key=None,
            key_chosen=False,
            compass=COMPASS,
            heard=(),
            pattern=None,
            links_heard=(),
            sounding=None,
            sounding_start_s=None,
            coming=(),
            links_left=len(state.events),
            held=(),
            last_end=None,
        )


def running(
    small: Small | None = None, voice: Voice | None = None, **more: object
) -> Runner[Heard]:
    sitting: Machine[Heard] = small or Small()
    return Runner(
        sitting,
        SETTINGS,
        clock=SystemClock(),
        sounder=voice or MemoryVoice(),
        controls=CONTROLS,
        **more,  # type: ignore[arg-type]
    )


def until(true: Callable[[], bool]) -> bool:
    clock = SystemClock()
    ends_s = clock.now_s() + PATIENCE_S
    while not true() and clock.now_s() < ends_s:
        clock.sleep_until(clock.now_s() + 0.005)
    return true()


def hanging(sent: Sequence[bytes]) -> set[tuple[int, int]]:
    """What sounds after everything was sent: keys as (channel, pitch), pedals as (16 + ...)."""
    down: set[tuple[int, int]] = set()
    for message in sent:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0x90 and message[2]:
            down.add((channel, message[1]))
        elif kind in (0x80, 0x90):
            down.discard((channel, message[1]))
        elif kind == 0xB0 and message[1] in (64, 66, 67):
            pedal = (16 + channel, message[1])
            down.add(pedal) if message[2] else down.discard(pedal)
    return down
