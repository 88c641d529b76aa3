"""The process that sounds: waits for deadlines, keys and orders, and lets go of every note.

It is started by `live.sounder` with the spawn method and lives from the first order to the end of
its command pipe. It waits in one system call for the next deadline, a command, a key to pass
through, a signal and a word on standard error; shortly before a deadline it spins. Everything else
(telling what was sent, looking after the port) is done when no deadline is near.

However the main process ends, the command pipe ends with it; then, on SIGTERM and on any fault of
our own, all notes are released, pedals lifted and all-notes-off sent on every channel used. The
process leaves its parent's process group, so that Ctrl-C, Ctrl-Z, a closed terminal and a signal to
the whole job reach the main process alone, which decides.

Conventions: seconds on the system clock, which both processes share.
"""

from __future__ import annotations

import multiprocessing.connection
import os
import select
import signal
import sys
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any, NamedTuple, Protocol

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.detached import own_signals, own_stderr
from livecont.live.outputs import MidiOutput, SilentOutput
from livecont.live.priority import freeze_garbage, raise_priority
from livecont.live.replies import Replies
from livecont.live.sounding import Output, Sounding
from livecont.live.wire import OutputChoice, OutputKind, Priority, portions

SPIN_S = 0.002 if sys.platform == "win32" else 0.0003  # waits end late by up to this
IDLE_S = 0.25  # the longest wait
CARE_S = 0.002  # with less time than this to the next deadline, nothing but deadlines
CALM_S = 0.010  # with this much time, anything
CARE_AT_LEAST_EVERY_S = 2.0  # even without a calm moment
PROBE_EVERY_S = 0.5
SUSPECT_EVERY_S = 0.05  # after a word on standard error: a server may answer while it ends,
SUSPICIONS = 4  # so it is asked more than once; soon, for sends to a dead one end up stuck
END_PATIENCE_S = 2.5  # the main process waits for 4 s
LEFT_ALONE_S = 10.0  # nobody waits, and a JACK server may stall for 5 s when a client was killed
CLOSE_PATIENCE_S = 1.0  # everything is out by then
SWEEP_AFTER_S = 0.03  # longer than what made the release get lost, some JACK periods
LOG_AT_MOST_EVERY_S = 0.002


class OpenOutput(Output, Protocol):
    """An output with what it takes to look after it."""

    name: str

    def present(self) -> bool:
        """Say whether it is still listed; quick."""
        ...

    def answers(self) -> bool:
        """Say whether the system behind it is still there; slow."""
        ...

    def reopen(self) -> bool:
        """Try to get it back; say whether that went well."""
        ...

    def flush(self, patience_s: float) -> None:
        """Wait, so long at most, until what was sent is out."""
        ...

    def close(self) -> None:
        """Let everything sent get out, then close."""
        ...


class Pipes(NamedTuple):
    """The sounding process's ends."""

    commands: Connection[Any, Any]
    thru: Connection[Any, Any]
    replies: Connection[Any, Any]


def run(
    choice: OutputChoice, pipes: Pipes, parent_pid: int, late_bound_s: float, urgent: bool
) -> None:
    """Be the sounding process (the target of the spawned process)."""
    signals = own_signals()
    noise = own_stderr()
    told = Replies(pipes.replies)
    priority = raise_priority() if urgent else Priority.NORMAL
    try:
        output = _open(choice)
    except PortError as error:
        told.tell(("failed", str(error)))
        return
    except Exception as error:
        told.tell(("failed", f"the output fails unexpectedly: {error!r}"))
        raise
    core = Sounding(output, SystemClock.reader(), late_bound_s)
    loop = _Loop(core, output, told, parent_pid)
    loop.listen(pipes.commands, loop.obey)
    loop.listen(pipes.thru, loop.pass_on)
    if signals is not None:
        loop.listen(signals, loop.end)
    if noise is not None:
        loop.listen(noise, loop.note_noise)
    freeze_garbage()
    told.tell(("ready", output.name, str(priority), SystemClock().now_s()))
    try:
        loop.run()
    except Exception as error:
        told.tell(("failed", f"the sounding process stumbled: {error!r}"))
        raise
    finally:
        patience_s = LEFT_ALONE_S if _orphaned(parent_pid) else END_PATIENCE_S
        _end_within(patience_s)
        _release_everything(core, output)
        loop.tell_everything()
        output.flush(patience_s)
        _end_within(CLOSE_PATIENCE_S)
        output.close()
        told.tell(("done",))
        told.close()


def _orphaned(parent_pid: int) -> bool:
    return sys.platform != "win32" and os.getppid() != parent_pid


def _release_everything(core: Sounding, output: OpenOutput) -> None:
    if core.lost is not None and output.reopen():  # back already, and nobody has looked
        core.find()
    core.hush(everything=True)
    if output.lossy:
        clock = SystemClock()
        clock.sleep_until(clock.now_s() + SWEEP_AFTER_S)
        core.sweep()


def _end_within(patience_s: float) -> None:
    """End this process then, even where a MIDI system doesn't let go of it.

    A JACK server that waits for a client that was killed answers nobody meanwhile, and what closes
    a port waits with it, the interpreter locked (seen: an orphan for more than 5 s). So it is the
    system that ends us where it can. What is released was sent by then.
    """
    if sys.platform == "win32":
        timer = threading.Timer(patience_s, os._exit, (0,))
        timer.daemon = True
        timer.start()
    else:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, patience_s)


class _Loop:
    """Joins the core with time and with what comes in."""

    def __init__(self, core: Sounding, output: OpenOutput, told: Replies, parent_pid: int) -> None:
        self._core = core
        self._output = output
        self._told = told
        self._parent_pid = parent_pid
        self._now_s = SystemClock.reader()
        self._spin_s = SPIN_S if output.lead_s == 0.0 else 0.0  # who wants it early needs no spin
        self._sources: dict[Any, tuple[Any, Callable[[Any], None]]] = {}
        self._waited_for: list[Any] = []
        self._ending = False
        self._suspicions = 0
        self._told_s = self._cared_s = self._probed_s = 0.0

    def listen(self, source: Any, do: Callable[[Any], None]) -> None:
        """Have `do` called with `source` whenever there is something to read."""
        # a copy of the descriptor gets the lowest free number, and select takes none above 1,023
        key = source if sys.platform == "win32" else os.dup(_fd(source))
        self._sources[key] = (source, do)
        self._waited_for = list(self._sources)

    def run(self) -> None:
        """Send, wait and hear until told to end."""
        now_s, core, spin_s = self._now_s, self._core, self._spin_s
        while not self._ending:
            wake_s = core.send_due()
            left_s = IDLE_S if wake_s is None else wake_s - now_s() - spin_s
            if left_s > CARE_S:
                left_s = min(left_s, self._care(left_s))
                if wake_s is not None:
                    left_s = min(left_s, wake_s - now_s() - spin_s)
            if self._suspicions and now_s() - self._probed_s > SUSPECT_EVERY_S:
                self._probe()  # late notes are better than a process that hangs
            heard = self._hear(max(0.0, left_s))
            if wake_s is not None and not heard and 0.0 < wake_s - now_s() <= spin_s:
                core.send_next(self._spin_until)

    def _spin_until(self, t_s: float) -> None:
        now_s = self._now_s
        while now_s() < t_s:
            pass

    def tell_everything(self) -> None:
        """Hand over what is left of the log and the last counts."""
        while self._core.log and self._tell_log():
            pass
        self._told.tell_counts(self._core)

    # --- what comes in --------------------------------------------------------------------------

    def obey(self, commands: Connection[Any, Any]) -> None:
        """Carry out one command; the end of the pipe is the command to end."""
        try:
            word, *rest = commands.recv()
        except (EOFError, OSError):
            self._ending = True
            return
        if word == "play":
            self._core.play(rest[0])
        elif word == "hush":
            self._core.hush(everything=rest[0])

    def pass_on(self, thru: Connection[Any, Any]) -> None:
        """Send one message of the player's."""
        try:
            message = thru.recv_bytes()
        except (EOFError, OSError):
            self._drop(thru)  # the end is announced by the command pipe
            return
        self._core.thru(message)

    def end(self, signals_fd: int) -> None:
        """End because of a signal."""
        os.read(signals_fd, 64)
        self._ending = True

    def note_noise(self, noise_fd: int) -> None:
        """Note that a C library wrote to standard error: something is wrong with the output."""
        os.read(noise_fd, 4096)
        self._suspicions = SUSPICIONS

    def _hear(self, for_s: float) -> bool:
        if sys.platform == "win32":
            ready = multiprocessing.connection.wait(self._waited_for, for_s)
        else:
            ready = select.select(self._waited_for, (), (), for_s)[0]
        for key in ready:
            source, do = self._sources[key]
            do(source)
        return bool(ready)

    def _drop(self, source: object) -> None:
        for key, (known, _) in list(self._sources.items()):
            if known is source:
                del self._sources[key]
        self._waited_for = list(self._sources)

    # --- what is done when no deadline is near ----------------------------------------------------

    def _care(self, left_s: float) -> float:
        """Do what may be done with `left_s` to go; return when there is more to do."""
        core, now_s = self._core, self._now_s()
        wait_s = IDLE_S
        if core.log:
            since_s = now_s - self._told_s
            if since_s >= LOG_AT_MOST_EVERY_S:
                self._tell_log()
                self._told_s = now_s
            if core.log:
                wait_s = LOG_AT_MOST_EVERY_S
        if left_s >= CALM_S or now_s - self._cared_s > CARE_AT_LEAST_EVERY_S:
            self._cared_s = now_s
            self._told.tell_counts(core)
            if _orphaned(self._parent_pid):
                self._ending = True  # a pipe held open by somebody else would hide it
            if now_s - self._probed_s > PROBE_EVERY_S:
                self._probe()
        if self._suspicions:
            wait_s = min(wait_s, SUSPECT_EVERY_S)
        return wait_s

    def _tell_log(self) -> bool:
        told = 0
        for count, portion in enumerate(portions(self._core.log), start=1):
            if not self._told.tell(("sent", portion)):
                break
            told += len(portion)
            if count == 4:  # some 50 us of work
                break
        del self._core.log[:told]
        return told > 0

    def _probe(self) -> None:
        core, output = self._core, self._output
        suspect = self._suspicions > 0
        self._suspicions = max(0, self._suspicions - 1)
        if core.lost is not None:
            if output.reopen():
                core.find()
                self._told.tell(("found", output.name))
        elif not output.present() or (suspect and not output.answers()):
            core.lose(f"MIDI output {output.name!r} is gone")
        if core.lost is not None:
            self._told.tell_lost(core.lost)
        self._probed_s = self._now_s()


def _fd(source: Any) -> int:
    return source if isinstance(source, int) else source.fileno()


def _open(choice: OutputChoice) -> OpenOutput:
    if choice.kind is OutputKind.SILENT:
        return SilentOutput()
    if choice.kind is OutputKind.INTERNAL:
        from livecont.live.voice_output import VoiceOutput

        return VoiceOutput(choice)
    return MidiOutput(choice)
