"""The keyboards of a sitting: opened, watched, and found again when they return.

A look at the names twice a second, in a thread of its own, off the note path: what has vanished is
lost, what is back under its name is opened again, and while nothing is open (or all were asked
for) a keyboard that is plugged in is taken without a restart.

Conventions: a source is the name under which a keyboard was first opened; it stays the same when
the driver's numbers change. News goes to `tell`, from the watching thread.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from livecont.errors import PortError
from livecont.live.clock import Clock
from livecont.live.hearing import Ear, Inbox, Item, Thru
from livecont.live.port_names import ALL, again, choose_inputs, usable
from livecont.live.ports import InputPort, Roster

LOOK_EVERY_S = 0.5


class PortEvent(StrEnum):
    """What happened to an input."""

    OPENED = "opened"
    LOST = "lost"
    RETURNED = "returned"


@dataclass(frozen=True, slots=True, kw_only=True)
class PortNews:
    """Something happened to an input."""

    event: PortEvent
    source: str


class Inputs:
    """The inputs of one sitting."""

    def __init__(
        self,
        inbox: Inbox[Item],
        clock: Clock,
        tell: Callable[[PortNews], object],
        *,
        wanted: str | None = None,
        api: str | None = None,
        thru: Thru | None = None,
    ) -> None:
        self._inbox = inbox
        self._clock = clock
        self._tell = tell
        self._wanted = wanted
        self._api = api
        self._thru = thru
        self._roster: Roster | None = None
        self._ports: dict[str, InputPort | None] = {}  # None while lost
        self._ended = threading.Event()
        self._watch = threading.Thread(target=self._keep_looking, name="inputs", daemon=True)

    @property
    def open_sources(self) -> tuple[str, ...]:
        """The keyboards that are listened to now."""
        return tuple(source for source, port in self._ports.items() if port is not None)

    def open(self, *, patient: bool = False) -> tuple[str, ...]:
        """Open what was wanted and begin to watch; return the names.

        `patient`: wait for a keyboard where there is none yet.

        Raises:
            PortError: no MIDI system, or nothing (or too much) that fits.
        """
        self._roster = Roster(self._api)
        try:
            for choice in choose_inputs(self._roster.inputs(), self._wanted):
                self._add(self._roster, choice.name)
        except PortError:
            if not patient:
                self.close()
                raise
        self._watch.start()
        return self.open_sources

    def close(self) -> None:
        """Stop listening and watching."""
        self._ended.set()
        if self._watch.is_alive():
            self._watch.join()
        roster, self._roster = self._roster, None
        if roster is None:
            return
        answers = roster.answers()
        for source, port in self._ports.items():
            if port is not None:
                port.close() if answers else port.abandon()
                self._ports[source] = None
        roster.close(answers=answers)

    def look(self) -> None:
        """Notice what has changed since the last look, once."""
        if self._roster is None:
            self._find_system()
        elif not self._roster.alive():
            self._lose_system(self._roster)
        roster = self._roster
        if roster is None:
            return
        try:
            names = usable(roster.inputs())
        except PortError:
            self._lose_system(roster)
            return
        self._notice_lost(roster, names)
        self._reopen(roster, names)
        self._take_new(roster, names)

    def _keep_looking(self) -> None:
        while not self._ended.wait(LOOK_EVERY_S):
            self.look()

    def _find_system(self) -> None:
        try:
            self._roster = Roster(self._api)
        except PortError:
            self._roster = None

    def _lose_system(self, roster: Roster) -> None:
        self._roster = None
        for source, port in self._ports.items():
            if port is not None:
                port.abandon()
                self._lose(source)
        roster.close(answers=False)

    def _notice_lost(self, roster: Roster, names: tuple[str, ...]) -> None:
        for source, port in self._ports.items():
            if port is None:
                continue
            if port.name not in names or not roster.joined(port.name):
                port.close()
                self._lose(source)

    def _lose(self, source: str) -> None:
        self._ports[source] = None
        self._tell(PortNews(event=PortEvent.LOST, source=source))

    def _reopen(self, roster: Roster, names: tuple[str, ...]) -> None:
        for source, port in self._ports.items():
            name = again(self._free(names), source)
            if port is not None or name is None:
                continue
            if self._listen(roster, source, name):
                self._tell(PortNews(event=PortEvent.RETURNED, source=source))

    def _take_new(self, roster: Roster, names: tuple[str, ...]) -> None:
        if self.open_sources and (self._wanted or "").strip().casefold() != ALL:
            return
        try:
            chosen = choose_inputs(names, self._wanted)
        except PortError:  # nothing fits yet: the next look may find it
            return
        for choice in chosen:
            if choice.name in self._free(names) and self._listen(roster, choice.name, choice.name):
                self._tell(PortNews(event=PortEvent.OPENED, source=choice.name))

    def _free(self, names: tuple[str, ...]) -> tuple[str, ...]:
        taken = {port.name for port in self._ports.values() if port is not None}
        return tuple(name for name in names if name not in taken)

    def _listen(self, roster: Roster, source: str, name: str) -> bool:
        try:
            self._add(roster, name, source)
        except PortError:  # not ready, or busy: a device just plugged in often is; look again
            return False
        return True

    def _add(self, roster: Roster, name: str, source: str | None = None) -> None:
        source = source or name
        ear = Ear(source, self._inbox, self._clock, self._thru)
        self._ports[source] = InputPort(roster, name, ear, self._inbox.miss)
        roster.await_joined(name)
