"""Whether this machine can play, found out by trying: ports, sound, timing, takes.

Conventions: a check returns findings, in the order they are shown; it raises nothing for what is
missing, since that is what it is asked. Lateness in seconds on the system clock.
"""

from __future__ import annotations

import os
import platform
import shutil
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from livecont.errors import LivecontError, PortError
from livecont.live.clock import SystemClock
from livecont.live.messages import TimedMessage
from livecont.live.port_names import INTERNAL, choose_inputs, choose_output
from livecont.live.ports import InputPort, PortList, Roster, list_ports
from livecont.live.report import SounderReport
from livecont.live.sounder import Sounder
from livecont.live.take_folder import TakeState, list_takes
from livecont.live.wire import OutputChoice, OutputKind, Priority

MESSAGES = 200
APART_S = 0.005
FELT_S = 0.01  # from here on players feel it (Wessel & Wright 2002)
GOOD_LATE_S = 0.003
MICROSECONDS_BELOW_S = 0.001
SMALL_SCREEN = (80, 24)
_NO_VIRTUAL_PORTS = ("winmm",)


class Verdict(StrEnum):
    """What a finding means for playing."""

    OK = "ok"
    NOTE = "note"  # works, but worth knowing
    NO = "no"  # does not work


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing found out, in a few words and what to do about it."""

    about: str
    verdict: Verdict
    said: str


def check_machine() -> Finding:
    """Say what this runs on."""
    system = platform.platform(terse=True)
    return Finding(
        about="machine",
        verdict=Verdict.OK,
        said=f"{system}, Python {platform.python_version()}, {os.cpu_count()} processors",
    )


def check_ports(found: PortList, input_name: str | None, output_name: str | None) -> list[Finding]:
    """Say what listen would hear and where it would sound."""
    if found.missing is not None:
        return [Finding(about="MIDI", verdict=Verdict.NO, said=found.missing)]
    findings = [Finding(about="MIDI", verdict=Verdict.OK, said=f"{found.api}")]
    first = None
    try:
        choices = choose_inputs(found.inputs, input_name)
        first = choices[0].name
        said = ", ".join(f"{choice.name} ({choice.reason})" for choice in choices)
        findings.append(Finding(about="keyboard", verdict=Verdict.OK, said=said))
    except PortError as error:
        findings.append(Finding(about="keyboard", verdict=Verdict.NO, said=str(error)))
    try:
        output = choose_output(found.outputs, output_name, first)
        said = f"{output.name} ({output.reason})"
        findings.append(Finding(about="output", verdict=Verdict.OK, said=said))
    except PortError as error:
        findings.append(Finding(about="output", verdict=Verdict.NO, said=str(error)))
    return findings


def check_sound(*, needed: bool) -> Finding:
    """Try livecont's own sound; `needed`: there is no other."""
    try:
        sounder = Sounder.start(OutputChoice(kind=OutputKind.INTERNAL))
    except PortError as error:
        verdict = Verdict.NO if needed else Verdict.NOTE
        return Finding(about="own sound", verdict=verdict, said=str(error))
    name = sounder.report().output
    sounder.close()
    return Finding(about="own sound", verdict=Verdict.OK, said=name)


def check_timing() -> list[Finding]:
    """Measure how late the sounding process sends, and what priority it was given."""
    try:
        report = _timed(OutputChoice(kind=OutputKind.SILENT))
    except PortError as error:
        return [Finding(about="timing", verdict=Verdict.NO, said=str(error))]
    good = report.late_p99_s <= GOOD_LATE_S
    late = Finding(
        about="timing",
        verdict=Verdict.OK if good else Verdict.NOTE,
        said=f"{report.scheduled} messages sent, late by {_ms(report.late_p50_s)} (half of them), "
        f"{_ms(report.late_p99_s)} (99 of 100), {_ms(report.late_most_s)} (worst)"
        + ("" if good else ": close other programs"),
    )
    return [late, _priority(report.priority)]


def check_round_trip() -> Finding:
    """Send through the MIDI system to ourselves and measure when it comes back."""
    try:
        roster = Roster()
    except LivecontError:
        said = "not measured: there is no MIDI system"
        return Finding(about="round trip", verdict=Verdict.NOTE, said=said)
    try:
        if roster.api in _NO_VIRTUAL_PORTS:
            said = f"not measured: {roster.api} has no ports of one's own"
            return Finding(about="round trip", verdict=Verdict.NOTE, said=said)
        late = sorted(_round_trip(roster))
    except PortError as error:
        return Finding(about="round trip", verdict=Verdict.NO, said=str(error))
    finally:
        roster.close()
    if len(late) < MESSAGES:
        said = f"only {len(late)} of {MESSAGES} messages came back: restart the MIDI system"
        return Finding(about="round trip", verdict=Verdict.NO, said=said)
    worst_s = late[len(late) * 99 // 100]
    said = f"{_ms(late[len(late) // 2])} (half), {_ms(worst_s)} (99 of 100) through {roster.api}"
    if worst_s > FELT_S:
        said += ": players feel that; give the MIDI system a shorter period (jackd: -p 64)"
        return Finding(about="round trip", verdict=Verdict.NOTE, said=said)
    return Finding(about="round trip", verdict=Verdict.OK, said=said)


def check_screen(terminal: bool) -> Finding:
    """Say how much room the screen has."""
    if not terminal:
        said = "not a terminal: plain lines will be written instead of a page"
        return Finding(about="screen", verdict=Verdict.NOTE, said=said)
    width, height = shutil.get_terminal_size()
    small = width < SMALL_SCREEN[0] or height < SMALL_SCREEN[1]
    said = f"{width} columns, {height} lines" + (": smaller than 80 by 24" if small else "")
    verdict = Verdict.NOTE if small else Verdict.OK
    return Finding(about="screen", verdict=verdict, said=said)


def check_take_folder(folder: Path) -> Finding:
    """Try to write where takes go, and look for what a kill left behind."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as file:
            file.write(b"try")
    except OSError as error:
        said = f"{folder} can't be written ({error.strerror}): choose another with --take-folder"
        return Finding(about="takes", verdict=Verdict.NO, said=said)
    states = [take.state for take in list_takes(folder)]
    unfinished = states.count(TakeState.UNFINISHED)
    said = f"{folder}: {len(states)} take{'' if len(states) == 1 else 's'}"
    if unfinished:
        said += f", {unfinished} unfinished: mend with livecont check --takes"
    return Finding(about="takes", verdict=Verdict.NOTE if unfinished else Verdict.OK, said=said)


def check_all(
    input_name: str | None, output_name: str | None, folder: Path, *, terminal: bool
) -> Iterator[Finding]:
    """Yield every finding, as it is found; the whole takes some seconds."""
    yield check_machine()
    ports = check_ports(list_ports(), input_name, output_name)
    yield from ports
    outputs = [finding.said for finding in ports if finding.about == "output"]
    yield check_sound(needed=any(said.startswith(f"{INTERNAL} (") for said in outputs))
    yield from check_timing()
    yield check_round_trip()
    yield check_screen(terminal)
    yield check_take_folder(folder)


def _timed(choice: OutputChoice) -> SounderReport:
    """Have a sounding process send some messages and return its report."""
    sounder = Sounder.start(choice)
    try:
        clock = SystemClock()
        clock.sleep_until(_play(sounder, clock) + 0.2)
    finally:
        sounder.close()
    return sounder.report()


def _play(sounder: Sounder, clock: SystemClock) -> float:
    """Plan messages that sound nothing; return when the last is due."""
    start_s = clock.now_s() + 0.2
    silent = bytes((0xB0, 119, 0))  # an undefined controller (MIDI 1.0)
    due = [start_s + number * APART_S for number in range(MESSAGES)]
    sounder.play([TimedMessage(due_s=due_s, data=silent) for due_s in due])
    return due[-1]


def _round_trip(roster: Roster) -> list[float]:
    clock, back_s, lock = SystemClock(), [], threading.Lock()

    def heard(_message: object, _context: object = None) -> None:
        now_s = clock.now_s()
        with lock:
            back_s.append(now_s)

    client = f"livecont check {os.getpid()}"
    choice = OutputChoice(
        kind=OutputKind.VIRTUAL, name="round trip", api=roster.api_number, client=client
    )
    sounder = Sounder.start(choice)
    try:
        names = [name for name in roster.inputs() if client in name]
        if not names:
            raise PortError("the MIDI system does not show a port that was just opened")
        port = InputPort(roster, names[0], heard)
        clock.sleep_until(clock.now_s() + 0.1)
        last_s = _play(sounder, clock)
        clock.sleep_until(last_s + 0.3)
        port.close()
        sent = [one.due_s for one in sounder.sent() if one.due_s is not None]
    finally:
        sounder.close()
    return [back - due for back, due in zip(back_s, sent, strict=False)]


def _priority(priority: Priority) -> Finding:
    if priority is Priority.REAL_TIME:
        return Finding(about="priority", verdict=Verdict.OK, said="real-time")
    said = f"{priority}: notes may be late while other programs are busy"
    if platform.system() == "Linux":
        said += "; allow rtprio in /etc/security/limits.conf for real-time"
    return Finding(about="priority", verdict=Verdict.NOTE, said=said)


def _ms(seconds: float) -> str:
    return (
        f"{1e6 * seconds:.0f} us" if seconds < MICROSECONDS_BELOW_S else f"{1000 * seconds:.2f} ms"
    )
