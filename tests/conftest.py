"""A JACK server of our own, whose MIDI ports are real ones and need no sound card.

A JACK server registers under its name in a table of eight that all servers of a machine share
(seen: "Too many servers already active"). One that is killed keeps its place until a server of the
same name ends in order, so the tests use few names, always the same.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.ports import Roster

READY_WITHIN_S = 5.0
SETTLED_S = 0.2
STARTS = 4  # a server started right after another was killed often fails at first
NAMES = ("livecont-tests-1", "livecont-tests-2", "livecont-tests-3")
JACKD = shutil.which("jackd") or "jackd"
# synchronous (-S): else a client that is late for its cycle loses what it sent in it (seen on a
# busy machine); with the usual patience of 500 ms a client that was killed stops the server for
# some 4 s then, so it gets 100 ms (-t)
COMMAND = ("--no-realtime", "-S", "-t", "100", "-d", "dummy", "-r", "48000", "-p", "64")
MISSING = "jackd is not installed: apt-get install --no-install-recommends jackd2"


def launch_jack(name: str, log: Path) -> subprocess.Popen[bytes]:
    """Launch a server and return at once; its name goes before the driver's options."""
    with log.open("ab") as out:
        return subprocess.Popen([JACKD, "-n", name, *COMMAND], stdout=out, stderr=out)


def start_jack(name: str, log: Path) -> subprocess.Popen[bytes]:
    """Start a server and return when it answers; `JACK_DEFAULT_SERVER` must name it already.

    Raises:
        RuntimeError: it does not start.
    """
    clock = SystemClock()
    for _ in range(STARTS):
        server = launch_jack(name, log)
        patience_ends_s = clock.now_s() + READY_WITHIN_S
        while server.poll() is None and clock.now_s() < patience_ends_s:
            clock.sleep_until(clock.now_s() + SETTLED_S)
            if server.poll() is None and _answers():
                return server
        stop_jack(server)
        clock.sleep_until(clock.now_s() + 2 * SETTLED_S)
    raise RuntimeError(f"jackd does not start: {log.read_text('utf-8', errors='replace')}")


def _answers() -> bool:
    try:
        Roster("jack").close()
    except PortError:
        return False
    return True


def stop_jack(server: subprocess.Popen[bytes]) -> None:
    """End a server; wait for it, since one that was not waited for bars the next."""
    server.terminate()
    try:
        server.wait(5)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()


@pytest.fixture(scope="session")
def jack(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The name of a running JACK server, which this process and its children use."""
    if shutil.which(JACKD) is None:
        if os.environ.get("CI") == "true":
            pytest.fail(MISSING)
        pytest.skip(MISSING)
    log = tmp_path_factory.mktemp("jack") / "log.txt"
    before = {key: os.environ.get(key) for key in ("JACK_DEFAULT_SERVER", "LIVECONT_MIDI_API")}
    os.environ["LIVECONT_MIDI_API"] = "jack"
    server = _first_free(log)
    try:
        yield os.environ["JACK_DEFAULT_SERVER"]
    finally:
        stop_jack(server)
        for key, value in before.items():
            if value is None:
                os.environ.pop(key, None)
            else:
                os.environ[key] = value


@pytest.fixture
def doomed_jack(jack: str, tmp_path: Path) -> Iterator[str]:
    """A name for a server that a test kills; its place in the table is freed afterwards."""
    name, clock = f"{jack}-doomed", SystemClock()
    yield name
    server = launch_jack(name, tmp_path / "last.txt")
    clock.sleep_until(clock.now_s() + 5 * SETTLED_S)
    stop_jack(server)


def _first_free(log: Path) -> subprocess.Popen[bytes]:
    """Start a server under the first name that no other run of the tests uses."""
    for name in NAMES:
        os.environ["JACK_DEFAULT_SERVER"] = name
        try:
            return start_jack(name, log)
        except RuntimeError:
            continue
    return pytest.fail(f"jackd does not start: {log.read_text('utf-8', errors='replace')}")
