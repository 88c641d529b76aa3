"""A whole sitting in virtual time, sounding side included: a day of it takes minutes.

The machine, the player's side with its echo guard, and the sounding process's rules are those of
life; the clock is moved by hand, and the output keeps count instead of sounding.

Conventions: seconds of virtual time from 0. Everything that is due is done in time order.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

from livecont.config import load_preferences
from livecont.live.clock import ManualClock
from livecont.live.controls import Panel
from livecont.live.echo import EchoGuard
from livecont.live.hearing import Arrival
from livecont.live.messages import messages_of
from livecont.live.player import Player
from livecont.live.sounding import Sounding
from livecont.sitting.events import (
    Effect,
    Hush,
    Quit,
    Settings,
    SittingEvent,
    Sound,
    Tick,
    TookOver,
    Wake,
)
from livecont.sitting.machine import begin, snapshot, step


class CountingOutput:
    """What a listener would know, and nothing of the past."""

    lead_s = 0.0
    lossy = False

    def __init__(self, clock: ManualClock) -> None:
        self._clock = clock
        self.strikes = 0
        self.at_once = 0  # the most strikes at one moment
        self.down: set[tuple[int, int]] = set()
        self._moment = (0.0, 0)

    def send(self, message: bytes, at_s: float) -> None:
        """Take one message."""
        kind, key = message[0] & 0xF0, (message[0] & 0x0F, message[1])
        if kind == 0x90 and message[2]:
            self.strikes += 1
            self.down.add(key)
            now_s = self._clock.now_s()
            count = self._moment[1] + 1 if self._moment[0] == now_s else 1
            self._moment = (now_s, count)
            self.at_once = max(self.at_once, count)
        elif kind in (0x80, 0x90):
            self.down.discard(key)

    def forget(self) -> None:
        """Nothing was sent ahead."""


class VirtualSitting:
    """One sitting. `settings` as in life, so the chain is drawn ahead for a screen."""

    def __init__(self, settings: Settings | None = None) -> None:
        chosen = load_preferences(options={"key": "C major"})
        self.clock = ManualClock()
        self.output = CountingOutput(self.clock)
        self.core = Sounding(self.output, self.clock.now_s)
        self.player = Player(Panel(chosen.controls), EchoGuard(), None)
        self.state = begin(settings or chosen.settings)
        self.effects: Counter[str] = Counter()
        self.ticks = 0
        self._wake_s: float | None = None
        self._looked_s = 0.0

    def advance(self, until_s: float) -> None:
        """Let time go on, doing what is due."""
        while True:
            due_s = self.core.send_due()
            self.core.log.clear()
            wake_s = self._wake_s
            moments = [at_s for at_s in (due_s, wake_s) if at_s is not None and at_s <= until_s]
            if not moments:
                break
            self.clock.sleep_until(min(moments))
            if wake_s is not None and wake_s <= self.clock.now_s():
                self._tick()
        self.clock.sleep_until(until_s)

    def jump(self, by_s: float) -> None:
        """Nothing is done for a while, as when a machine sleeps; then what is overdue."""
        self.clock.advance(by_s)
        self.core.send_due()
        self.core.log.clear()
        if self._wake_s is not None and self._wake_s <= self.clock.now_s():
            self._tick()

    def arrive(self, data: bytes, at_s: float) -> None:
        """Have bytes come in from the keyboard."""
        self.advance(at_s)
        arrival = Arrival("keyboard", self.clock.now_s(), data, False)
        for event in self.player.hear(arrival):
            self._step(event)
        if at_s >= self._looked_s + 1.0:  # somebody looks at the screen
            self._looked_s = at_s
            snapshot(self.state, at_s)

    def finish(self) -> None:
        """End it in order."""
        self._step(Quit(at_s=self.clock.now_s()))
        self.core.hush(everything=True)

    def _tick(self) -> None:
        self._wake_s = None
        self.ticks += 1
        self._step(Tick(at_s=self.clock.now_s()))

    def _step(self, event: SittingEvent) -> None:
        if event.at_s < self.state.now_s:
            event = replace(event, at_s=self.state.now_s)
        self.state, effects = step(self.state, event)
        self._perform(effects)

    def _perform(self, effects: Iterable[Effect]) -> None:
        for effect in effects:
            if isinstance(effect, Wake):
                self._wake_s = effect.at_s
                continue
            self.effects[type(effect).__name__] += 1
            if isinstance(effect, Sound):
                messages = messages_of(effect)
                self.core.play([(message.due_s, message.data) for message in messages])
                self.player.planned(messages)
            elif isinstance(effect, Hush):
                self.core.hush()
                self.player.hushed(self.clock.now_s())
            elif isinstance(effect, TookOver):
                message = self.player.probe(self.clock.now_s(), ())
                if message is not None:
                    self.core.thru(message)
