"""The MIDI ports of this machine: which there are, and listening to one.

What rtmidi does not tell (seen with 1.5.8): that a port was unplugged, `is_port_open` stays true;
that a JACK server died, its clients go on listing its ports out of shared memory. Closing a client
of a dead JACK server ends the process (segmentation fault). A new client costs 20 to 33 ms with
the interpreter locked, asking one that exists 25 us. So:

- one client is kept for asking (`Roster`);
- under JACK the roster sends itself a byte through the server, once a look: no byte, no server;
- under JACK it is asked whether a port is still joined to ours (`live.jack_links`): one that was
  closed and opened again between two looks has the same name;
- clients of a dead server are abandoned, never closed;
- under JACK there is no callback of ours: it would run in JACK's cycle, and when the interpreter is
  busy for longer than that, rtmidi reads on in a buffer that is being written for the next cycle,
  and loses, repeats or swaps messages. rtmidi's queue is filled without the interpreter; a thread
  empties it every `POLL_S`. The driver's times are the same.

Conventions: rtmidi is imported late; without it, or without a MIDI system, everything that does not
need ports goes on working. `ports.py` only listens; sounding opens its output in its own process.
"""

from __future__ import annotations

import contextlib
import ctypes
import itertools
import os
import sys
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from livecont.errors import PortError, unknown
from livecont.live.jack_links import JackLinks, marked
from livecont.live.outputs import JACK_STALLS_S, names_of
from livecont.live.port_names import INTERNAL, OWN, SILENT, Choice
from livecont.live.quiet import silenced_stderr
from livecont.live.wire import OutputChoice, OutputKind

API_VARIABLE = "LIVECONT_MIDI_API"
APIS: Mapping[str, str] = MappingProxyType(
    {
        "jack": "API_UNIX_JACK",
        "alsa": "API_LINUX_ALSA",
        "coremidi": "API_MACOSX_CORE",
        "winmm": "API_WINDOWS_MM",
    }
)
_SILENT_LOOKS = 2  # so many looks without our own byte mean that the server is gone
_LISTENING = "in"  # our end of an input
_PULSE = b"\xfe"  # active sensing, which means nothing to anybody

POLL_S = 0.001
QUEUED = 16_384  # messages that rtmidi keeps between two looks
WAITING_MOST = 4096  # what waits beyond that to be taken in is left out, and counted
AT_ONCE = 64  # so many are taken in before rtmidi's queue is emptied again

_pulses = itertools.count()

Event = tuple[Sequence[int], float]
Heard = Callable[[Event, object], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class PortList:
    """What there is; `missing` says what keeps MIDI from working, None where it works.

    `api` names the MIDI system, `api_number` is rtmidi's for it.
    """

    api: str | None
    api_number: int | None = None
    inputs: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    missing: str | None = None


def output_to_open(choice: Choice, ports: PortList) -> OutputChoice:
    """Return what the sounding process is to open for a chosen output.

    Raises:
        PortError: a port was chosen where there is no MIDI system.
    """
    if choice.name == INTERNAL:
        return OutputChoice(kind=OutputKind.INTERNAL)
    if choice.name == SILENT:
        return OutputChoice(kind=OutputKind.SILENT)
    if ports.api_number is None:
        raise PortError(ports.missing or "no MIDI system")
    return OutputChoice(kind=OutputKind.PORT, name=choice.name, api=ports.api_number)


def list_ports(api: str | None = None) -> PortList:
    """Return the ports of this machine; no MIDI system is an answer, not an error.

    Raises:
        ConfigError: an API that is none.
    """
    try:
        roster = Roster(api)
    except PortError as error:
        return PortList(api=None, missing=str(error))
    try:
        return PortList(
            api=roster.api,
            api_number=roster.api_number,
            inputs=roster.inputs(),
            outputs=roster.outputs(),
        )
    finally:
        roster.close()


class Roster:
    """Says which ports there are, from clients that stay.

    Raises:
        PortError: no MIDI system.
        ConfigError: an API that is none.
    """

    def __init__(self, api: str | None = None) -> None:
        self._rtmidi = _import_rtmidi()
        self.api, self._inputs = _first_client(self._rtmidi, api)
        self.api_number = int(getattr(self._rtmidi, APIS[self.api]))
        self._outputs = _new_client(self._rtmidi, self._rtmidi.MidiOut, self.api)
        self._silent_looks = 0
        self._pulsed = False
        self._links: JackLinks | None = None
        if self.api == "jack":
            self._join_pulse()
            self._links = JackLinks(f"{OWN} links")

    def inputs(self) -> tuple[str, ...]:
        """Return the names of the ports that can be listened to."""
        return self._names(self._inputs)

    def outputs(self) -> tuple[str, ...]:
        """Return the names of the ports that can be sent to."""
        return self._names(self._outputs)

    def joined(self, name: str) -> bool:
        """Whether a port that this process listens to still leads to it."""
        return self._links is None or self._links.joined(name, marked(_LISTENING))

    def await_joined(self, name: str) -> None:
        """Wait until a port just opened leads to it."""
        if self._links is not None:
            self._links.await_joined(name, marked(_LISTENING), JACK_STALLS_S)

    def alive(self) -> bool:
        """Whether the MIDI system still answers; to be asked at every look, some time apart."""
        if self.api != "jack":
            return True
        came = False
        while self._inputs.get_message() is not None:
            came = True
        self._silent_looks = 0 if came or not self._pulsed else self._silent_looks + 1
        if self._silent_looks >= _SILENT_LOOKS:
            return False
        self._outputs.send_message(_PULSE)
        self._pulsed = True
        return True

    def answers(self) -> bool:
        """Whether the MIDI system is there at this moment; costs a new client under JACK."""
        if self.api != "jack":
            return True
        try:
            _new_client(self._rtmidi, self._rtmidi.MidiIn, self.api).delete()
        except PortError:
            return False
        return True

    def close(self, *, answers: bool | None = None) -> None:
        """Let go of the clients; of a system that does not answer they are abandoned instead."""
        clients = (self._inputs, self._outputs)
        there = self.answers() if answers is None else answers
        if self._links is not None:
            self._links.close(answers=there)
        if not there:
            abandon(*clients)
            return
        with silenced_stderr():
            for client in clients:
                client.close_port()
                client.delete()

    def _join_pulse(self) -> None:
        self._inputs.ignore_types(sysex=True, timing=True, active_sense=False)
        with silenced_stderr():
            mark = f"pulse {os.getpid()}-{next(_pulses)}"  # others of ours may run
            self._inputs.open_virtual_port(mark)
            names = names_of(self._outputs, self._rtmidi)
            ours = [name for name in names if name.endswith(f":{mark}")]
            if not ours:
                raise PortError("the JACK server hides our own port: restart it")
            self._outputs.open_port(names.index(ours[0]), "pulse")

    def _names(self, client: Any) -> tuple[str, ...]:
        try:
            return tuple(names_of(client, self._rtmidi))
        except self._rtmidi.RtMidiError as error:
            raise PortError(f"the MIDI system does not answer ({error}): start it again") from error


class InputPort:
    """One input being listened to; `missed` is told how many messages found no room.

    Raises:
        PortError: it is not there, or busy.
    """

    def __init__(
        self,
        roster: Roster,
        name: str,
        heard: Heard,
        missed: Callable[[int], object] = lambda _: None,
    ) -> None:
        self.name = name
        self._missed = missed
        self._ended = threading.Event()
        self._poller: threading.Thread | None = None
        polled = roster.api == "jack"
        self._client = _listen(roster.api, name, None if polled else heard)
        if polled:
            self._poller = threading.Thread(
                target=self._poll, args=(self._client, heard), name="jack input", daemon=True
            )
            self._poller.start()

    def close(self) -> None:
        """Stop listening. Only while the MIDI system is there."""
        client = self._let_go()
        if client is None:
            return
        # a port that was pulled out may not close in order
        with silenced_stderr(), contextlib.suppress(_import_rtmidi().RtMidiError):
            client.cancel_callback()
            client.close_port()
            client.delete()

    def abandon(self) -> None:
        """Stop listening to a MIDI system that is gone."""
        client = self._let_go()
        if client is not None:
            abandon(client)

    def _let_go(self) -> Any:
        self._ended.set()
        if self._poller is not None:
            self._poller.join()
        client, self._client = self._client, None
        return client

    def _poll(self, client: Any, heard: Heard) -> None:
        waiting: deque[Event] = deque()
        while not self._ended.wait(0.0 if waiting else POLL_S):
            missed = take_in(client, waiting, heard)
            if missed:
                self._missed(missed)


def take_in(client: Any, waiting: deque[Event], heard: Heard) -> int:
    """Empty rtmidi's queue, hand on some of what waits; return how many found no room.

    The queue is emptied whatever the handing on costs (in a busy interpreter each message that is
    passed through waits for its turn): what overflows there, nobody counts.
    """
    missed = 0
    while (event := client.get_message()) is not None:
        if len(waiting) < WAITING_MOST:
            waiting.append(event)
        else:
            missed += 1
    for _ in range(min(AT_ONCE, len(waiting))):
        heard(waiting.popleft(), None)
    return missed


def abandon(*clients: object) -> None:
    """Keep clients of a dead MIDI system from ever being closed, which would end this process."""
    for client in clients:
        ctypes.pythonapi.Py_IncRef(ctypes.py_object(client))


def _listen(api: str, name: str, heard: Heard | None) -> Any:
    rtmidi = _import_rtmidi()
    client = _new_client(rtmidi, rtmidi.MidiIn, api, queue_size_limit=QUEUED)
    try:
        names = names_of(client, rtmidi)
        if name not in names:
            raise PortError(f"MIDI input {name!r} is not there: plug it in again")
        # system exclusive may be endless; of the others rtmidi would not count the time
        client.ignore_types(sysex=True, timing=False, active_sense=False)
        if heard is not None:
            client.set_callback(heard)
        with silenced_stderr():
            ours = marked(_LISTENING) if api == "jack" else _LISTENING
            client.open_port(names.index(name), ours)
    except rtmidi.RtMidiError as error:
        client.delete()
        raise PortError(
            f"MIDI input {name!r} can't be opened ({error}): close the program that has it"
        ) from error
    except PortError:
        client.delete()
        raise
    return client


def _import_rtmidi() -> Any:
    try:
        import rtmidi
    except ImportError as error:
        what = "apt install libasound2" if "asound" in str(error) else "pip install python-rtmidi"
        raise PortError(f"MIDI ports can't be used ({error}): {what}") from error
    return rtmidi


def _first_client(rtmidi: Any, api: str | None) -> tuple[str, Any]:
    """Return the first MIDI system that answers, and a client of it."""
    wanted = (api or os.environ.get(API_VARIABLE, "")).strip().casefold()
    if wanted and wanted not in APIS:
        raise unknown("MIDI system", wanted, APIS)
    compiled = set(rtmidi.get_compiled_api())
    names = [name for name, number in APIS.items() if getattr(rtmidi, number) in compiled]
    faults: list[str] = []
    for name in names:
        if wanted and name != wanted:
            continue
        try:
            return name, _new_client(rtmidi, rtmidi.MidiIn, name)
        except PortError as error:
            faults.append(str(error))
    if not faults:
        raise PortError(f"{wanted} is not a MIDI system of this platform: {', '.join(names)}")
    raise PortError(f"no MIDI system: {_advice()}")


def _new_client(rtmidi: Any, kind: Any, api: str, **more: int) -> Any:
    try:
        with silenced_stderr():
            return kind(getattr(rtmidi, APIS[api]), name=f"{OWN} ports", **more)
    except rtmidi.RtMidiError as error:
        raise PortError(f"the MIDI system {api} does not answer ({error}): start it") from error


def _advice() -> str:
    if sys.platform == "linux":
        return "load the kernel's sequencer (modprobe snd-seq) or start a JACK server"
    return "restart the system's MIDI service, or the machine"
