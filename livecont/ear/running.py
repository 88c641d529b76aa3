"""Runs a lesson or a game: one thread owns its state, hands it what happens, does what it asks for.

The runner of the ear, as `live.runner` is that of a sitting: the same inbox, inputs and sounding
process, another machine. Answers are kept from this thread the moment that they are complete.
However it ends, everything that sounds is released and the ports are closed.

Conventions: seconds on the live clock. `latest` is for the screen: nobody waits for it.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from types import TracebackType
from typing import Generic, Protocol, TypeVar

from livecont.ear.asked import Answered
from livecont.ear.sounds import Keep, Over, SessionEffect, SessionEvent, Typed
from livecont.errors import PortError
from livecont.live.clock import Clock
from livecont.live.controls import Panel
from livecont.live.echo import EchoGuard
from livecont.live.hearing import Arrival, Inbox, Thru
from livecont.live.inputs import Inputs, PortEvent, PortNews
from livecont.live.messages import messages_of
from livecont.live.parts import Voice
from livecont.live.player import Player
from livecont.live.report import SounderState
from livecont.screen.ear_view import EarView
from livecont.sequence.events import KeyDown, KeyUp, PedalMove
from livecont.sitting.events import Hush, Lost, Quit, Sound, Tick, Wake

LOOK_S = 0.05  # how often the view is taken
LOOK_AFTER_SOUND_S = 0.25
PROBE_AGAIN_S = 2.0
END_PATIENCE_S = 10.0

State = TypeVar("State")
_Outcome = tuple[State, tuple[SessionEffect, ...]]
KeepAnswer = Callable[[Answered], object]


class SessionMachine(Protocol[State]):
    """A game or a lesson: `ear.game`, `ear.lesson`."""

    def begin(self, at_s: float) -> _Outcome[State]:
        """Return the state in which it begins, and what is done first."""
        ...

    def step(self, state: State, event: SessionEvent) -> _Outcome[State]:
        """Return the next state, and what is done."""
        ...

    def view(self, state: State, at_s: float) -> EarView:
        """Return what is shown."""
        ...


@dataclass(frozen=True, slots=True)
class _NoControls:
    """The machine itself knows its controls: everything is music to the panel."""

    pedals: Mapping[int, str] = field(default_factory=dict)
    keys: Mapping[int, str] = field(default_factory=dict)
    computer: Mapping[str, str] = field(default_factory=dict)


_Item = Typed | PortNews | Quit


class SessionRunner(Generic[State]):
    """One session, running. Use it as a context manager; leaving it ends the session.

    `keeping` is entered in the session's thread and gives what keeps an answer. `thru` passes the
    player's notes on to the sounder, `comes_back` says whether the output may arrive at an input.
    The sounder is closed with it.
    """

    def __init__(
        self,
        machine: SessionMachine[State],
        *,
        clock: Clock,
        sounder: Voice,
        keeping: Callable[[], AbstractContextManager[KeepAnswer]],
        thru: bool = False,
        comes_back: bool = True,
    ) -> None:
        self._machine, self._clock, self._sounder = machine, clock, sounder
        self._keeping = keeping
        self._inbox: Inbox[_Item] = Inbox()
        self._inputs: Inputs | None = None
        self._thru = Thru(sounder.thru) if thru else None
        self._player = Player(Panel(_NoControls()), EchoGuard() if comes_back else None, self._thru)
        self._wake_s: float | None = None
        self._over = False
        self._sound_state = SounderState.RUNNING
        self._sound_look_s = clock.now_s()
        self._probed_s = float("-inf")
        self._notice: str | None = None
        self._fault: BaseException | None = None
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, name="session", daemon=True)
        self.latest: EarView | None = None

    # --- from other threads -----------------------------------------------------------------------

    def __enter__(self) -> SessionRunner[State]:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def listen(self, wanted: str | None = None, *, api: str | None = None) -> tuple[str, ...]:
        """Open the player's keyboards; return their names. To be called before it is entered.

        Raises:
            PortError: no MIDI system, or nothing (or too much) that fits.
        """
        inputs = Inputs(
            self._inbox, self._clock, self._inbox.post, wanted=wanted, api=api, thru=self._thru
        )
        names = inputs.open()
        self._inputs = inputs
        return names

    def press(self, sign: str) -> None:
        """Take a key of the computer's keyboard."""
        self._inbox.post(Typed(at_s=self._clock.now_s(), sign=sign))

    def quit(self) -> None:
        """Ask for the end; returns at once. May be called by a signal's handler."""
        self._inbox.post(Quit(at_s=self._clock.now_s()))

    def wait(self, patience_s: float | None = None) -> bool:
        """Wait for the end; return whether it came."""
        return self._ended.wait(patience_s)

    def close(self) -> None:
        """End it and wait until all is silent; may be called again.

        Raises:
            Exception: what made it end, where that was a fault.
        """
        if self._thread.ident is None and not self._ended.is_set():
            self._finish()
        elif self._thread.is_alive():
            self.quit()
            self._thread.join(END_PATIENCE_S)
            self._sounder.close()  # closed already, unless the thread is stuck
        fault, self._fault = self._fault, None
        if fault is not None:
            raise fault

    # --- the session's thread ---------------------------------------------------------------------

    def _run(self) -> None:
        try:
            with self._keeping() as keep:
                self._play(keep)
        except BaseException as error:  # told to the main thread, which raises it
            self._fault = error
        try:
            self._finish()
        except BaseException as error:
            self._fault = self._fault or error

    def _play(self, keep: KeepAnswer) -> None:
        now_s = look_s = self._clock.now_s()
        state, effects = self._machine.begin(now_s)
        self._perform(effects, keep)
        last_s = now_s
        while not self._over:
            now_s = self._clock.now_s()
            deadline_s = look_s if self._wake_s is None else min(look_s, self._wake_s)
            item = self._inbox.take(deadline_s - now_s)
            events: list[SessionEvent] = [] if item is None else list(self._heard(item))
            now_s = self._clock.now_s()
            if self._wake_s is not None and now_s >= self._wake_s:
                self._wake_s = None
                events.append(Tick(at_s=now_s))
            if now_s >= look_s:
                events += self._look(now_s)
                look_s = now_s + LOOK_S
                self.latest = self._shown(state, now_s)
            for event in events:
                last_s = max(last_s, event.at_s)
                state, effects = self._machine.step(state, replace(event, at_s=last_s))
                self._perform(effects, keep)
                self._over = self._over or isinstance(event, Quit)
        self.latest = self._shown(state, self._clock.now_s())

    def _heard(self, item: Arrival | _Item) -> Iterable[SessionEvent]:
        if isinstance(item, Arrival):
            for event in self._player.hear(item):
                if isinstance(event, KeyDown | KeyUp | PedalMove):
                    yield event
        elif isinstance(item, PortNews):
            yield from self._port_news(item)
        else:
            yield item

    def _port_news(self, news: PortNews) -> Iterable[SessionEvent]:
        now_s = self._clock.now_s()
        if news.event is PortEvent.LOST:
            self._notice = f"MIDI input {news.source!r} is gone; waiting for it to return"
            for event in self._player.let_go(news.source, now_s):
                if isinstance(event, KeyUp):
                    yield event
            self._sounder.hush(everything=True)
            yield Lost(at_s=now_s)
        else:
            self._notice = None
            self._player.opened(news.source)
            self._probed_s = float("-inf")

    def _perform(self, effects: Iterable[SessionEffect], keep: KeepAnswer) -> None:
        for effect in effects:
            if isinstance(effect, Sound):
                self._probe()
                messages = messages_of(effect)
                self._sounder.play(messages)
                self._player.planned(messages)
            elif isinstance(effect, Hush):
                self._sounder.hush()
                self._player.hushed(self._clock.now_s())
            elif isinstance(effect, Wake):
                self._wake_s = effect.at_s
            elif isinstance(effect, Keep):
                keep(effect.answered)
            elif isinstance(effect, Over):
                self._over = True

    def _probe(self) -> None:
        """Find out, where that was not done just now, whether our output comes back."""
        now_s = self._clock.now_s()
        if now_s < self._probed_s + PROBE_AGAIN_S:
            return
        message = self._player.probe(now_s, [pitch for _, pitch in self._sounder.sounding()])
        if message is not None:
            self._probed_s = now_s
            self._sounder.thru(message)

    def _look(self, now_s: float) -> Iterable[SessionEvent]:
        """See how the sounding process is, once in a while; one that died is started again."""
        if now_s < self._sound_look_s:
            return
        self._sound_look_s = now_s + LOOK_AFTER_SOUND_S
        self._sounder.sent()  # its log is nobody's here, and is not to grow
        report = self._sounder.report()
        before, self._sound_state = self._sound_state, report.state
        if report.state is SounderState.ENDED:
            with contextlib.suppress(PortError):  # tried again at the next look
                self._sounder.revive()
        if report.state is before:
            return
        if report.state is SounderState.RUNNING:
            self._notice = None
            self._player.output_opened()
            self._probed_s = float("-inf")
        else:
            self._notice = report.trouble or "the sound is gone; waiting for it to return"
            yield Lost(at_s=now_s)

    def _shown(self, state: State, now_s: float) -> EarView:
        view = self._machine.view(state, now_s)
        return view if self._notice is None else replace(view, message=self._notice)

    def _finish(self) -> None:
        """Silence everything and close; each step whatever became of the others."""
        with contextlib.ExitStack() as last_first:
            last_first.callback(self._ended.set)
            if self._inputs is not None:
                last_first.callback(self._inputs.close)
            last_first.callback(self._sounder.close)
            last_first.callback(self._sounder.hush, everything=True)
