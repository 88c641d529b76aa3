"""A JACK server of our own, whose MIDI ports are real ones and need no sound card."""

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
STARTS = 5  # a server started right after another was killed often fails at first
COMMAND = ("jackd", "--no-realtime", "-d", "dummy", "-r", "48000", "-p", "64")
MISSING = "jackd is not installed: apt-get install --no-install-recommends jackd2"


def start_jack(name: str, log: Path) -> subprocess.Popen[bytes]:
    """Start a server and return when it answers; `JACK_DEFAULT_SERVER` must name it already."""
    clock = SystemClock()
    for _ in range(STARTS):
        with log.open("ab") as out:
            server = subprocess.Popen(  # its name goes before the driver's options
                [COMMAND[0], "-n", name, *COMMAND[1:]], stdout=out, stderr=out
            )
        patience_ends_s = clock.now_s() + READY_WITHIN_S
        while server.poll() is None and clock.now_s() < patience_ends_s:
            try:
                Roster("jack").close()
            except PortError:
                clock.sleep_until(clock.now_s() + 0.05)
            else:
                return server
        stop_jack(server)
        clock.sleep_until(clock.now_s() + 0.5)
    raise AssertionError(f"jackd does not start: {log.read_text('utf-8', errors='replace')}")


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
    if shutil.which("jackd") is None:
        if os.environ.get("CI") == "true":
            pytest.fail(MISSING)
        pytest.skip(MISSING)
    name = f"livecont-tests-{os.getpid()}"
    before = {key: os.environ.get(key) for key in ("JACK_DEFAULT_SERVER", "LIVECONT_MIDI_API")}
    os.environ.update(JACK_DEFAULT_SERVER=name, LIVECONT_MIDI_API="jack")
    server = start_jack(name, tmp_path_factory.mktemp("jack") / "log.txt")
    try:
        yield name
    finally:
        stop_jack(server)
        for key, value in before.items():
            if value is None:
                os.environ.pop(key, None)
            else:
                os.environ[key] = value
