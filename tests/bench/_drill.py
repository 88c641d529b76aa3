"""One fault while a sitting sounds, and what came of it. See `tests.bench.faults`."""

from __future__ import annotations

import os
import random  # noqa: TID251 -- handed in, seeded
import shutil
import signal
import subprocess
import sys
import threading
import uuid
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import mido

from tests.bench._rig import CLOCK, TOP, Rig, Timed, environment, hanging, pause, strikes

PATIENCE_S = 15.0
PLAYED_AGAIN, PLAYED_S = 4, 5.0
ORPHAN_S = 5.0
SILENT_WITHIN_S = 5.0  # a port that is back, a sounding process started anew
KEPT_BEFORE_S = 0.1  # what is older than this before the fault must be in the take
SETTLED_S = 0.25
MARK = "LIVECONT_DRILL"
NOTE_S = 0.11
RIGHT = (72, 76, 74, 77, 76, 74)  # in C major; each link a step lower
LEFT = (48, 52)
SCALE = (0, 2, 4, 5, 7, 9, 11)


@dataclass(slots=True, kw_only=True)
class Outcome:
    """What came of one fault; `lost` are strikes missing in the take, `unheard` on the way.

    `sounded`: the fault came while livecont sounded.
    """

    way: str
    moment_s: float
    sounded: bool = False
    hanging: list[str] = field(default_factory=list)
    lost: int = 0
    orphans: list[str] = field(default_factory=list)
    oddities: list[str] = field(default_factory=list)
    unheard: int = 0
    silent_after_s: float | None = None

    @property
    def bad(self) -> bool:
        """Whether anything is as it should not be."""
        return bool(self.hanging or self.lost or self.orphans or self.oddities)

    def told(self) -> dict[str, Any]:
        """Return it as a table."""
        return asdict(self)


class Sitting:
    """A `livecont listen` of its own, with everything that descends from it."""

    def __init__(self, rig: Rig, folder: Path, fault: str | None) -> None:
        self.mark = uuid.uuid4().hex
        module = ["livecont"] if fault is None else ["tests.bench._faulty", fault]
        options = ["--in", rig.keyboard, "--out", rig.synth, "--key", "C major"]
        options += ["--take-folder", str(folder), "--limit", "compass"]
        self.process = subprocess.Popen(
            [sys.executable, "-m", *module, "listen", *options],
            cwd=TOP,
            env={**environment(rig.server), MARK: self.mark, "PYTHONUNBUFFERED": "1"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            text=True,
        )
        self.lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        for line in self.process.stdout or ():
            self.lines.append(line.rstrip())

    def said(self, words: str) -> bool:
        """Whether a line with these words was printed."""
        return any(words in line for line in self.lines)

    def family(self) -> dict[int, str]:
        """Return the living processes that descend from it, with their command lines."""
        mark = f"{MARK}={self.mark}".encode()
        found = {}
        for folder in Path("/proc").glob("[0-9]*"):
            try:
                if mark not in (folder / "environ").read_bytes():
                    continue
                state = (folder / "stat").read_text().rsplit(")", 1)[1].split()[0]
                if state != "Z":
                    command = (folder / "cmdline").read_bytes().replace(b"\0", b" ")
                    found[int(folder.name)] = command.decode(errors="replace").strip()
            except OSError:  # gone meanwhile
                continue
        return found

    def sounding_pid(self) -> int:
        """Return the sounding process's id: it leads a process group of its own."""
        return next(pid for pid in self._spawned() if os.getpgid(pid) == pid)

    def analysing_pid(self) -> int | None:
        """Return the id of the process that explains what is heard, None where there is none."""
        return next((pid for pid in self._spawned() if os.getpgid(pid) != pid), None)

    def _spawned(self) -> list[int]:
        return [pid for pid, command in self.family().items() if "spawn_main" in command]


def until(true: Callable[[], bool], patience_s: float = PATIENCE_S) -> bool:
    """Wait for something to be true; return whether it came."""
    ends_s = CLOCK.now_s() + patience_s
    while not true():
        if CLOCK.now_s() > ends_s:
            return False
        pause(0.01)
    return True


# --- ways to end, or nearly ---------------------------------------------------------------------

Way = Callable[["Drill", Sitting], None]


def _signalled(number: int, code: int, *, group: bool = False) -> Way:
    def way(drill: Drill, sitting: Sitting) -> None:
        (os.killpg if group else os.kill)(sitting.process.pid, number)
        drill.expect_end(sitting, code)

    return way


def _fault(drill: Drill, sitting: Sitting) -> None:
    sitting.process.send_signal(signal.SIGUSR1)
    drill.expect_end(sitting, 1)


def _take_fault(drill: Drill, sitting: Sitting) -> None:
    """The recorder's thread dies: playing goes on, and what it had written is kept."""
    sitting.process.send_signal(signal.SIGUSR1)
    pause(0.3)
    drill.end_in_order(sitting)


def _sounding_killed(drill: Drill, sitting: Sitting) -> None:
    os.kill(sitting.sounding_pid(), signal.SIGKILL)
    drill.expect_silence()
    drill.end_in_order(sitting)


def _analysing_killed(drill: Drill, sitting: Sitting) -> None:
    """It only explains: everything else goes on."""
    pid = sitting.analysing_pid()
    if pid is not None:
        os.kill(pid, signal.SIGKILL)
    pause(0.3)
    drill.end_in_order(sitting)


def _port_lost(which: str) -> Way:
    def way(drill: Drill, sitting: Sitting) -> None:
        drill.rig.ask("close", which)
        pause(drill.rng.uniform(0.05, 1.5))
        if which == "keys":
            drill.expect_silence()
        drill.rig.ask("open", which)
        drill.expect_silence()
        drill.expect_return(sitting, which)
        drill.end_in_order(sitting)

    return way


def _disconnected(drill: Drill, sitting: Sitting) -> None:
    synth = f"{drill.rig.synth}:in"
    there = _jack(drill, "jack_lsp", "-c", synth).splitlines()
    ours = there[there.index(synth) + 1].strip()
    _jack(drill, "jack_disconnect", ours, synth)
    pause(drill.rng.uniform(0.05, 0.6))
    _jack(drill, "jack_connect", ours, synth)  # unless livecont was there first
    drill.expect_return(sitting, "synth")
    drill.end_in_order(sitting)


def _jack(drill: Drill, tool: str, *arguments: str) -> str:
    done = subprocess.run(
        [shutil.which(tool) or tool, *arguments],
        env=environment(drill.rig.server),
        check=False,
        capture_output=True,
        text=True,
    )
    return done.stdout


WAYS: dict[str, tuple[Way, str | None]] = {
    "SIGKILL": (_signalled(signal.SIGKILL, -signal.SIGKILL), None),
    "SIGTERM": (_signalled(signal.SIGTERM, 128 + signal.SIGTERM), None),
    "SIGINT": (_signalled(signal.SIGINT, 128 + signal.SIGINT), None),
    "SIGKILL to its group": (_signalled(signal.SIGKILL, -signal.SIGKILL, group=True), None),
    "sounding process killed": (_sounding_killed, None),
    "analysing process killed": (_analysing_killed, None),
    "keyboard gone for a while": (_port_lost("keys"), None),
    "synth gone for a while": (_port_lost("synth"), None),
    "disconnected for a while": (_disconnected, None),
    "exception in the sitting": (_fault, "step"),
    "exception in effects": (_fault, "perform"),
    "exception on the screen": (_fault, "draw"),
    "exception in the recorder": (_take_fault, "take"),
}


# --- the drill ----------------------------------------------------------------------------------


class Drill:
    """One sitting, one fault."""

    def __init__(self, rig: Rig, folder: Path) -> None:
        self.rig = rig
        self.rng = random.Random(0)
        self._folder = folder
        self._fault_s = 0.0
        self._outcome = Outcome(way="", moment_s=0.0)

    def run(self, way: str, rng: random.Random) -> Outcome:
        """Return what came of it."""
        do, place = WAYS[way]
        self.rng = rng
        self._outcome = outcome = Outcome(way=way, moment_s=round(rng.uniform(0.0, 1.6), 3))
        self.rig.ask("forget")
        sitting = Sitting(self.rig, self._folder, place)
        try:
            if self._sounds(sitting, held=rng.random() < 0.5):
                outcome.sounded = True
                pause(outcome.moment_s)
                self._fault_s = CLOCK.now_s()
                do(self, sitting)
            else:
                passed = f"{self.rig.strikes()} of {len(strikes(self.rig.played()))} passed on"
                outcome.oddities.append(f"it did not take over: {passed}, {sitting.lines[-40:]}")
        finally:
            self._end_all(sitting)
        pause(SETTLED_S)
        heard = self.rig.heard()
        outcome.hanging = sorted(f"{number} {key}" for number, key in hanging(heard))
        outcome.silent_after_s = self._silent_after_s(heard)
        if outcome.sounded:
            self._compare_take(heard)
        return outcome

    def expect_end(self, sitting: Sitting, code: int) -> None:
        """The process has to end by itself, with this code."""
        try:
            got = sitting.process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            self._outcome.oddities.append("the process did not end")
            return
        if got != code:
            self._outcome.oddities.append(f"exit code {got} instead of {code}")

    def end_in_order(self, sitting: Sitting) -> None:
        """It goes on: ask it to end."""
        if sitting.process.poll() is not None:
            code = sitting.process.returncode
            self._outcome.oddities.append(f"it ended by itself, {code}: {sitting.lines[-2:]}")
            return
        sitting.process.send_signal(signal.SIGTERM)
        self.expect_end(sitting, 128 + signal.SIGTERM)

    def expect_silence(self) -> None:
        """Everything has to be released soon, while the sitting goes on."""
        if not until(lambda: not hanging(self.rig.heard()), SILENT_WITHIN_S):
            keys = sorted(hanging(self.rig.heard()))
            self._outcome.oddities.append(f"not silent after {SILENT_WITHIN_S:.0f} s: {keys}")

    def expect_return(self, sitting: Sitting, which: str) -> None:
        """What was lost has to work again: a key struck is heard at the synth."""
        before = self.rig.strikes()

        def heard() -> bool:
            self.rig.play([(0.0, bytes((0x90, 100, 50))), (0.05, bytes((0x80, 100, 64)))])
            pause(0.1)
            return self.rig.strikes() > before

        if not until(heard, SILENT_WITHIN_S):
            self._outcome.oddities.append(f"{which} did not come back: {sitting.lines[-2:]}")

    def _sounds(self, sitting: Sitting, *, held: bool) -> bool:
        """Play two links; return whether livecont took over."""
        if not until(lambda: sitting.said("listening")):
            return False
        events = two_links(held=held)
        for _ in range(PLAYED_AGAIN):  # on a busy machine the keyboard plays by fits and starts
            before = self.rig.strikes() + len(strikes(events))
            self.rig.play(events)
            if until(lambda: self.rig.strikes() > before, PLAYED_S):  # noqa: B023 -- called here
                return True
        return False

    def _end_all(self, sitting: Sitting) -> None:
        if sitting.process.poll() is None:
            sitting.process.kill()
            sitting.process.wait()
        if not until(lambda: not sitting.family(), ORPHAN_S):
            left = sitting.family()
            self._outcome.orphans = list(left.values())
            for pid in left:
                os.kill(pid, signal.SIGKILL)

    def _silent_after_s(self, heard: list[Timed]) -> float | None:
        """When, after the fault, the synth was silent for the first time."""
        before = [one for one in heard if one[0] <= self._fault_s]
        for number in range(len(before), len(heard) + 1):
            if not hanging(heard[:number]):
                at_s = heard[number - 1][0] if number else self._fault_s
                return max(0.0, at_s - self._fault_s)
        return None

    def _compare_take(self, heard: list[Timed]) -> None:
        command = [sys.executable, "-m", "livecont", "check", "--takes"]
        command += ["--take-folder", str(self._folder)]
        done = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=False)
        takes = sorted(self._folder.glob("*.mid"))
        if done.returncode or len(takes) != 1 or any(self._folder.glob("*.take")):
            self._outcome.oddities.append(f"takes: {takes}, {done.stdout} {done.stderr}")
            return
        in_take = {track.name: track for track in mido.MidiFile(takes[0]).tracks}
        played, sounded = _pitches(in_take["player"]), _pitches(in_take["livecont"])
        kept_s = self._fault_s - KEPT_BEFORE_S
        theirs = Counter(m[1] for at_s, m in strikes(self.rig.played()) if at_s <= kept_s)
        all_heard = strikes(heard)
        at_synth = Counter(m[1] for at_s, m in all_heard if at_s <= kept_s)
        ours = at_synth - theirs
        self._outcome.lost = (theirs - played).total() + (ours - sounded).total()
        passed_or_sounded = Counter(m[1] for _, m in all_heard)
        self._outcome.unheard = (sounded - passed_or_sounded).total()


def two_links(*, held: bool) -> list[Timed]:
    """Two hands and pedal; `held`: the last keys stay down."""
    events: list[Timed] = []
    links = 2
    for link in range(links):
        begin_s = link * len(RIGHT) * NOTE_S
        pedal_s = begin_s + 0.02
        events += [(pedal_s, bytes((0xB0, 64, 127))), (begin_s + 0.5, bytes((0xB0, 64, 0)))]
        for place, (pitches, length_s) in enumerate(((RIGHT, NOTE_S), (LEFT, 3 * NOTE_S))):
            for number, pitch in enumerate(pitches):
                at_s = begin_s + number * length_s + 0.004 * place
                key = down_by(pitch, link)
                events.append((at_s, bytes((0x90, key, 70 + number))))
                if not held or link < links - 1 or number < len(pitches) - 1:
                    events.append((at_s + 0.85 * length_s, bytes((0x80, key, 64))))
    return sorted(events, key=lambda event: event[0])


def down_by(pitch: int, steps: int) -> int:
    """Return a pitch of C major moved down by steps of the scale."""
    octave, place = divmod(SCALE.index(pitch % 12) - steps, 7)
    return 12 * (pitch // 12 + octave) + SCALE[place]


def _pitches(track: mido.MidiTrack) -> Counter[int]:
    return Counter(m.note for m in track if m.type == "note_on" and m.velocity)
