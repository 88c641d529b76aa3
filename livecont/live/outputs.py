"""The outputs that the sounding process can open: MIDI ports through rtmidi, or nothing.

rtmidi never tells that an output is gone, and sends to it seem to succeed. So:
- a vanished port is noticed by asking the open client for the names of the ports that are there
  (`present`, measured at 0.02 to 0.3 ms); under JACK, whether ours is still joined to it as well,
  for a synth that was started anew has the same name (`live.jack_links`, 4 us);
- a JACK server that died is not: its clients go on listing the ports of the dead one out of shared
  memory, and when a buffer of some 2,000 messages is full a send never returns. But libjack writes
  to standard error at that moment. The process watches that and then asks `answers`, which tries
  a fresh client (20 ms).

Conventions: methods raise PortError with one clear line; anything else is a fault of ours.
"""

from __future__ import annotations

import re
import sys
from typing import Any

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.jack_links import JackLinks, marked
from livecont.live.quiet import silenced_stderr
from livecont.live.wire import OutputChoice, OutputKind

JACK_CONNECTS_S = 0.1
JACK_CONNECTS_CYCLES = 4
JACK_STALLS_S = 2.0  # by a client that was killed
LIST_TRIES = 5
OPEN_TRIES, OPEN_AGAIN_S = 3, 0.2


class SilentOutput:
    """Takes everything and sounds nothing."""

    lead_s = 0.0
    lossy = False
    name = "silent"

    def send(self, message: bytes, at_s: float) -> None:
        """Do nothing."""

    def forget(self) -> None:
        """Do nothing."""

    def present(self) -> bool:
        """Say that it is always there."""
        return True

    def answers(self) -> bool:
        """Say that it is always there."""
        return True

    def reopen(self) -> bool:
        """Say that it is always there."""
        return True

    def flush(self, patience_s: float) -> None:
        """Do nothing."""

    def close(self) -> None:
        """Do nothing."""


class MidiOutput:
    """A MIDI port of the machine, or one that we open ourselves."""

    lead_s = 0.0

    def __init__(self, choice: OutputChoice) -> None:
        self._choice = choice
        self._rtmidi = _rtmidi()
        self._api = choice.api
        self._out: Any = self._first_client()
        self._api = self._out.get_current_api()
        # a JACK client that is late for its cycle loses what it sent in it
        self.lossy = self._api == self._rtmidi.API_UNIX_JACK
        self.name = choice.name
        self._port = marked("out") if self.lossy else "out"
        self._links: JackLinks | None = None
        try:
            self._open()
        except PortError:
            self._discard()
            raise

    def send(self, message: bytes, at_s: float) -> None:
        """Send `message` now; a MIDI port knows no later."""
        try:
            self._out.send_message(message)
        except (self._rtmidi.RtMidiError, ValueError) as error:
            raise PortError(f"MIDI output {self.name!r} fails: {error}") from error

    def forget(self) -> None:
        """Do nothing: what was sent is out."""

    def present(self) -> bool:
        """Say whether the port is still listed, and under JACK whether ours is joined to it."""
        if self._choice.kind is OutputKind.VIRTUAL:
            return True  # it is ours; whether anybody has connected to it is not our business
        try:
            listed = self.name in names_of(self._out, self._rtmidi)
        except self._rtmidi.RtMidiError:
            return False
        return listed and (self._links is None or self._links.joined(self.name, self._port))

    def answers(self) -> bool:
        """Say whether a JACK server that knows our port is there, by asking as a fresh client."""
        if self._api != self._rtmidi.API_UNIX_JACK:
            return True
        try:
            with silenced_stderr():
                probe = self._rtmidi.MidiIn(self._api, name=f"{self._choice.client}-probe")
                names = names_of(probe, self._rtmidi)
                probe.delete()
        except self._rtmidi.RtMidiError:
            return False
        # a server that was started anew answers too, but doesn't know us
        return any(name.startswith(self._choice.client) for name in names)

    def reopen(self) -> bool:
        """Try to open the port again, by name; say whether that went well."""
        self.close()
        try:
            self._out = self._client()
            self._open()
        except PortError:
            self._discard()
            return False
        return True

    def flush(self, patience_s: float) -> None:
        """Wait, so long at most, until what was sent is out."""
        if self._links is not None:
            self._links.await_cycles(2, patience_s)

    def close(self) -> None:
        """Close the port after what was sent; the client of a dead JACK server is left as it is.

        Closing such a one takes 1 s and may end the process (a segmentation fault in libjack).
        """
        out, self._out = self._out, None
        if out is None:
            return
        answers = self.answers()
        if self._links is not None:
            self._links.close(answers=answers)
            self._links = None
        if not answers:
            _keep_for_ever(out)
            return
        with silenced_stderr():
            out.close_port()
            out.delete()

    def _discard(self) -> None:
        """Give up a client that was made a moment ago and has no open port."""
        out, self._out = self._out, None
        if out is not None:
            with silenced_stderr():
                out.delete()

    def _first_client(self) -> Any:
        """A busy server may refuse one client and take the next."""
        clock = SystemClock()
        for _ in range(OPEN_TRIES - 1):
            try:
                return self._client()
            except PortError:
                clock.sleep_until(clock.now_s() + OPEN_AGAIN_S)
        return self._client()

    def _client(self) -> Any:
        try:
            with silenced_stderr():
                return self._rtmidi.MidiOut(self._api, name=self._choice.client)
        except self._rtmidi.RtMidiError as error:
            raise PortError(
                f"no MIDI system answers ({error}); start it, or choose another output"
            ) from error

    def _open(self) -> None:
        choice = self._choice
        try:
            with silenced_stderr():
                if choice.kind is OutputKind.VIRTUAL:
                    self._out.open_virtual_port(choice.name)
                    return
                names = names_of(self._out, self._rtmidi)
                index = find_port(choice.name, names)
                if index is None:
                    there = ", ".join(map(repr, names)) or "none"
                    raise PortError(f"no MIDI output {choice.name!r}; there is: {there}")
                self._out.open_port(index, self._port)
                self.name = names[index]
                if self.lossy:
                    self._await_connection()
        except (self._rtmidi.RtMidiError, NotImplementedError) as error:
            raise PortError(f"MIDI output {choice.name!r} can't be opened: {error}") from error

    def _await_connection(self) -> None:
        """Wait until a connection just made works: some cycles later, and what is sent is lost."""
        clock = SystemClock()
        ends_s = clock.now_s() + JACK_CONNECTS_S
        self._links = JackLinks(f"{self._choice.client} links")
        self._links.await_joined(self.name, self._port, JACK_STALLS_S)
        self._links.await_cycles(JACK_CONNECTS_CYCLES, JACK_STALLS_S)
        clock.sleep_until(ends_s)


def names_of(client: Any, rtmidi: Any) -> list[str]:
    """Return the names of the ports that a client sees.

    rtmidi counts them first and then asks for each: one that goes meanwhile makes it fail.

    Raises:
        rtmidi.RtMidiError: it fails again and again.
    """
    for _ in range(LIST_TRIES - 1):
        try:
            return list(client.get_ports())
        except rtmidi.RtMidiError:
            continue
    return list(client.get_ports())


def find_port(name: str, names: list[str]) -> int | None:
    """Return the place of the port `name` among `names`, None where it isn't there.

    ALSA adds its own numbers ("Piano:Piano MIDI 1 24:0"), which change when a device is plugged in
    again, and Windows a single one; without an exact match they are left out of account.

    >>> find_port("Piano MIDI 1 24:0", ["Through 14:0", "Piano MIDI 1 28:0"])
    1
    >>> find_port("Piano MIDI 1", ["Piano MIDI 2"])
    """
    if name in names:
        return names.index(name)
    bare = [_without_numbers(other) for other in names]
    wanted = _without_numbers(name)
    if wanted == name or bare.count(wanted) != 1:
        return None
    return bare.index(wanted)


def _without_numbers(name: str) -> str:
    return re.sub(r"\s+\d+$" if sys.platform == "win32" else r"\s+\d+:\d+$", "", name)


def _keep_for_ever(client: object) -> None:
    import ctypes

    ctypes.pythonapi.Py_IncRef(ctypes.py_object(client))


def _rtmidi() -> Any:
    try:
        import rtmidi
    except ImportError as error:  # its wheel needs the system's libasound.so.2 on Linux
        raise PortError(f"MIDI ports can't be used: {error}; `livecont check` says more") from error
    return rtmidi
