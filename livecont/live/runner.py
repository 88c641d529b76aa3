"""Runs a sitting: one thread owns its state, hands it what happens, does what it asks for.

The thread takes arrivals, controls and news of the ports from one inbox, and wakes by itself where
the sitting wants a tick. It feeds the sounding process ahead of time, tells the take, and leaves
the latest snapshot where the screen finds it: nobody waits for the screen, and it waits for nobody.
However it ends, by the player's wish, a signal, a fault, everything that sounds is released, the
ports are closed and the take is written.

Conventions: seconds on the live clock. The sitting gets its events in time order: one that was
stamped before something already handed over is handed over as of that moment. `tell` hears of
trouble and of its end, in one line each, from the runner's thread.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from types import TracebackType
from typing import Generic

from livecont.live.clock import Clock
from livecont.live.controls import ControlMap, Panel
from livecont.live.echo import EchoGuard
from livecont.live.hearing import Arrival, Ear, Inbox, Thru
from livecont.live.inputs import Inputs, PortEvent, PortNews
from livecont.live.parts import Explainer, Health, Machine, State, Voice
from livecont.live.performer import Performer
from livecont.live.player import Player
from livecont.live.take import TakeRecorder
from livecont.live.virtual_keyboard import VirtualKeyboard
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sitting.events import (
    ChangeKey,
    Ended,
    Lost,
    News,
    Quit,
    Settings,
    SittingEvent,
    Tick,
)
from livecont.sitting.snapshot import Snapshot

KEEP_HOUSE_S = 0.05  # how often snapshot and sounding process are looked after
KEEP_TAKE_S = 0.01  # and what was sounded is told to the take: a kill loses it
OVERDUE_S = 0.005  # a tick so late goes before what waits
TELL_AGAIN_S = 1.0
LAST_NOTES_S = 0.5  # the last notes ring so long before a sitting ends by itself
END_PATIENCE_S = 10.0
NOTICES_KEPT = 20


@dataclass(frozen=True, slots=True)
class _Typed:
    """A key of the computer was struck."""

    sign: str
    at_s: float


_Item = SittingEvent | PortNews | _Typed


class Runner(Generic[State]):
    """One sitting, running. Use it as a context manager; leaving it ends the sitting.

    `thru` passes the player's notes on to the sounder. `comes_back` is False where the output is
    our own sound or none, which no input can hear. `ends_with_chain` ends the sitting by itself
    after the first chain has come to its end. `explainer` works out what patterns are. Sounder,
    take and explainer are closed with it.
    """

    def __init__(
        self,
        machine: Machine[State],
        settings: Settings,
        *,
        clock: Clock,
        sounder: Voice,
        controls: ControlMap,
        take: TakeRecorder | None = None,
        explainer: Explainer | None = None,
        thru: bool = False,
        comes_back: bool = True,
        ends_with_chain: bool = False,
        listeners: Iterable[Callable[[News], object]] = (),
        tell: Callable[[str], object] = lambda _: None,
    ) -> None:
        self._machine, self._settings, self._clock = machine, settings, clock
        self._sounder, self._take, self._tell_others = sounder, take, tell
        self._explainer = explainer
        self._ends_with_chain = ends_with_chain
        self._inbox: Inbox[_Item] = Inbox()
        self._inputs: Inputs | None = None
        self._virtual: VirtualKeyboard | None = None
        self._notices: deque[str] = deque(maxlen=NOTICES_KEPT)
        self._panel = panel = Panel(controls)
        self._thru = (
            Thru(sounder.thru, controllers=panel.controllers, pitches=panel.pitches)
            if thru
            else None
        )
        self._player = Player(panel, EchoGuard() if comes_back else None, self._thru)
        self._performer = Performer(
            clock=clock,
            sounder=sounder,
            player=self._player,
            take=take,
            explainer=explainer,
            listeners=(*listeners, self._note_end),
            tell=self._tell,
        )
        self._state = machine.begin(settings)
        self._last_s = self._house_s = self._take_s = clock.now_s()
        self._end_at_s: float | None = None
        self._overruns, self._tell_overruns_s = 0, self._last_s
        self._unsure_of_keys = False
        self._quit = False
        self._fault: BaseException | None = None
        self._ended = threading.Event()
        self.latest: Snapshot = machine.snapshot(self._state, self._last_s)
        self._thread = threading.Thread(target=self._run, name="sitting", daemon=True)

    # --- from other threads -----------------------------------------------------------------------

    def __enter__(self) -> Runner[State]:
        if self._explainer is not None:
            self._explainer.start(self._inbox.post)
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def listen(
        self,
        wanted: str | None = None,
        *,
        api: str | None = None,
        patient: bool = False,
        passed_on: bool = True,
    ) -> tuple[str, ...]:
        """Open the player's keyboards; return their names. `patient`: wait where there is none.

        With thru, what they play is `passed_on`, or not, where only what is fed is to be.

        Raises:
            PortError: no MIDI system, or nothing (or too much) that fits.
        """
        inputs = Inputs(
            self._inbox,
            self._clock,
            self._inbox.post,
            wanted=wanted,
            api=api,
            thru=self._thru if passed_on else None,
        )
        names = inputs.open(patient=patient)
        self._inputs = inputs
        for name in names:
            self._inbox.post(PortNews(event=PortEvent.OPENED, source=name))
        return names

    def ear(self, source: str) -> Ear:
        """Return the callback of a further input, such as one that plays by itself."""
        return Ear(source, self._inbox, self._clock, self._thru)

    def feed(self, events: Iterable[PlayerEvent], source: str = "demo") -> VirtualKeyboard:
        """Begin to play events in real time as though from a keyboard."""
        self._virtual = VirtualKeyboard(self.ear(source), self._clock, events)
        self._virtual.start()
        return self._virtual

    def post(self, event: SittingEvent | PortNews) -> None:
        """Hand over an event, or news of a port, before whatever else waits."""
        self._inbox.post(event)

    def press(self, sign: str) -> None:
        """Take a key of the computer's keyboard."""
        self._inbox.post(_Typed(sign, self._clock.now_s()))

    def quit(self) -> None:
        """Ask for the end of the sitting; returns at once. May be called by a signal's handler."""
        self._inbox.post(Quit(at_s=self._clock.now_s()))

    def wait(self, patience_s: float | None = None) -> bool:
        """Wait for the end of the sitting; return whether it came."""
        return self._ended.wait(patience_s)

    def health(self) -> Health:
        """Return how the sitting is doing."""
        return Health(
            inputs=self._inputs.open_sources if self._inputs is not None else (),
            overruns=self._inbox.overruns,
            echoing=self._player.echoing,
            sounder=self._sounder.report(),
            take=self._take.path if self._take is not None else None,
            typed=self._panel.line,
            complaint=self._panel.complaint,
            notices=tuple(self._notices),
            keeps=self._panel.keeps,
        )

    def close(self) -> None:
        """End the sitting and wait until all is silent and written; may be called again.

        Raises:
            Exception: what made the sitting end, where that was a fault.
        """
        if self._thread.ident is None and not self._ended.is_set():
            self._finish()  # never begun: there is something to close all the same
        elif self._thread.is_alive():
            self.quit()
            self._thread.join(END_PATIENCE_S)
            self._sounder.close()  # closed already, unless the thread is stuck
        fault, self._fault = self._fault, None
        if fault is not None:
            raise fault

    # --- the sitting's thread ---------------------------------------------------------------------

    def _run(self) -> None:
        try:
            if self._take is not None:
                self._take.key(self._last_s, self._settings.key)
            while not self._quit:
                self._turn()
        except BaseException as error:  # told to the main thread, which raises it
            self._fault = error
        try:
            self._finish()
        except BaseException as error:
            self._fault = self._fault or error

    def _turn(self) -> None:
        """Take one item, or the tick that is due, or look after the house."""
        now_s = self._clock.now_s()
        if now_s >= self._take_s:
            self._take_s = now_s + KEEP_TAKE_S
            self._performer.keep_take()
        wake_s = self._performer.wake_s
        deadline_s = min(self._house_s, self._take_s)
        if wake_s is not None:
            deadline_s = min(deadline_s, wake_s)
        overdue = wake_s is not None and now_s > wake_s + OVERDUE_S
        item = None if overdue else self._inbox.take(deadline_s - now_s)
        if item is not None:
            self._receive(item)
            if self._clock.now_s() < self._house_s + KEEP_HOUSE_S:
                return
        now_s = self._clock.now_s()
        wake_s = self._performer.wake_s
        if wake_s is not None and now_s >= wake_s:
            self._performer.wake_s = None
            self._step(Tick(at_s=now_s))
        if now_s >= self._house_s:
            self._keep_house(now_s)

    def _receive(self, item: Arrival | _Item) -> None:
        if isinstance(item, Arrival):
            self._hear(self._player.hear(item))
        elif isinstance(item, PortNews):
            self._port_news(item)
        elif isinstance(item, _Typed):
            self._hear(self._player.type(item.sign, item.at_s))
        else:
            self._step(item)

    def _hear(self, events: Iterable[SittingEvent]) -> None:
        for event in events:
            if self._take is not None and isinstance(event, KeyDown | KeyUp | PedalMove):
                self._take.player(event)
            self._step(event)

    def _step(self, event: SittingEvent) -> None:
        if event.at_s < self._last_s:
            event = replace(event, at_s=self._last_s)
        self._last_s = event.at_s
        self._state, effects = self._machine.step(self._state, event)
        for effect in effects:
            self._performer.perform(effect)
        if isinstance(event, ChangeKey) and self._take is not None:
            self._take.key(event.at_s, event.key)
        if isinstance(event, Quit):
            self._quit = True

    def _port_news(self, news: PortNews) -> None:
        if news.event is PortEvent.LOST:
            self._tell(f"MIDI input {news.source!r} is gone; waiting for it to return")
            now_s = self._clock.now_s()
            self._hear(self._player.let_go(news.source, now_s))
            self._sounder.hush(everything=True)
            self._step(Lost(at_s=now_s))
            return
        verb = "is back" if news.event is PortEvent.RETURNED else "is heard"
        self._tell(f"MIDI input {news.source!r} {verb}")
        self._player.opened(news.source)
        self._performer.probe(anew=True)

    def _keep_house(self, now_s: float) -> None:
        self._house_s = now_s + KEEP_HOUSE_S
        if self._inbox.overruns != self._overruns and now_s >= self._tell_overruns_s:
            self._overruns = self._inbox.overruns
            self._tell_overruns_s = now_s + TELL_AGAIN_S
            self._tell(f"the input is too fast: {self._overruns} messages were lost so far")
            self._unsure_of_keys = True
        if self._unsure_of_keys and self._inbox.empty:
            self._unsure_of_keys = False  # whose releases were lost, nobody knows
            self._hear(self._player.let_go_all(now_s))
        if self._performer.look():
            self._step(Lost(at_s=now_s))
        if self._end_at_s is not None and now_s >= self._end_at_s:
            self._step(Quit(at_s=now_s))
        self.latest = self._machine.snapshot(self._state, max(now_s, self._last_s))

    def _note_end(self, news: News) -> None:
        if isinstance(news, Ended) and self._ends_with_chain:
            self._end_at_s = max(self._performer.sounds_until_s, news.at_s) + LAST_NOTES_S

    def _tell(self, line: str) -> None:
        self._notices.append(line)
        self._tell_others(line)

    def _finish(self) -> None:
        """Silence everything and close; each step whatever became of the others."""
        with contextlib.ExitStack() as last_first:
            last_first.callback(self._ended.set)
            if self._explainer is not None:
                last_first.callback(self._explainer.close)
            if self._take is not None:
                last_first.callback(self._take.close)
            last_first.callback(self._performer.keep_take)
            if self._inputs is not None:
                last_first.callback(self._inputs.close)
            last_first.callback(self._sounder.close)
            if self._virtual is not None:
                last_first.callback(self._virtual.stop)
            last_first.callback(self._sounder.hush, everything=True)
