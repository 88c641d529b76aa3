"""A JACK server of our own, whose MIDI ports are real ones and need no sound card.

A JACK server registers under its name in a table of eight that all servers of a machine share
(seen: "Too many servers already active"). One that is killed keeps its place until a server of the
same name ends in order, so the tests use few names, always the same.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.ports import Roster

# machines are noisy: time is measured in benchmarks, never by a deadline in a test
settings.register_profile(
    "livecont",
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
settings.load_profile("livecont")

# what plays in real time, beside all that asks for a JACK server: it wants the machine to itself
REAL_TIME = {"test_cli.py", "test_cli_listen.py", "test_cli_book.py", "test_demo.py"}

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


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what plays in real time; `python -m tests` runs that by itself."""
    for item in items:
        file = item.path
        asks = "jack_server" in getattr(item, "fixturenames", ())
        if asks or file.parent.name == "live" or file.name in REAL_TIME or "real" in file.stem:
            item.add_marker(pytest.mark.realtime)


class JackServer:
    """A server that can be killed and started again.

    All tests of one run share its name: libjack knows one server a process.
    """

    def __init__(self, name: str, log: Path, command: tuple[str, ...] = COMMAND) -> None:
        self.name = name
        self._command = command
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, asking: Callable[[], bool] | None = None) -> None:
        """Start it and return when it answers; `JACK_DEFAULT_SERVER` must name it already.

        `asking` says whether it does; by default this process asks.

        Raises:
            RuntimeError: it does not start.
        """
        clock = SystemClock()
        for _ in range(STARTS):
            self._process = process = self.launch()
            patience_ends_s = clock.now_s() + READY_WITHIN_S
            while process.poll() is None and clock.now_s() < patience_ends_s:
                clock.sleep_until(clock.now_s() + SETTLED_S)
                if process.poll() is None and (asking or _answers)():
                    return
            self.stop()
            clock.sleep_until(clock.now_s() + 2 * SETTLED_S)
        raise RuntimeError(f"jackd does not start: {self._log.read_text('utf-8', 'replace')}")

    def launch(self) -> subprocess.Popen[bytes]:
        """Launch it and return at once; the name goes before the driver's options."""
        with self._log.open("ab") as out:
            return subprocess.Popen(
                [JACKD, "-n", self.name, *self._command], stdout=out, stderr=out
            )

    def stop(self) -> None:
        """End it in order; wait for it, since one that was not waited for bars the next."""
        process, self._process = self._process, None
        if process is None:
            return
        process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def kill(self) -> None:
        """Kill it; start it again, or its name stays taken."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()

    def free_name(self) -> None:
        """Free the name after a kill, by another short life."""
        clock = SystemClock()
        self._process = self.launch()
        clock.sleep_until(clock.now_s() + 5 * SETTLED_S)
        self.stop()


def _answers() -> bool:
    try:
        Roster("jack").close()
    except PortError:
        return False
    return True


@pytest.fixture(scope="session")
def jack_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[JackServer]:
    """A running JACK server, which this process and its children use."""
    if shutil.which(JACKD) is None:
        if os.environ.get("CI") == "true":
            pytest.fail(MISSING)
        pytest.skip(MISSING)
    log = tmp_path_factory.mktemp("jack") / "log.txt"
    environment = pytest.MonkeyPatch()
    environment.setenv("LIVECONT_MIDI_API", "jack")
    server = _first_free(log, environment)
    try:
        yield server
    finally:
        server.stop()
        environment.undo()


def _first_free(log: Path, environment: pytest.MonkeyPatch) -> JackServer:
    """Start a server under the first name that no other run of the tests uses."""
    for name in NAMES:
        environment.setenv("JACK_DEFAULT_SERVER", name)
        server = JackServer(name, log)
        try:
            server.start()
        except RuntimeError:
            continue
        return server
    return pytest.fail(f"jackd does not start: {log.read_text('utf-8', errors='replace')}")


@pytest.fixture
def jack(jack_server: JackServer) -> str:
    """The name of the running JACK server."""
    return jack_server.name


@pytest.fixture
def doomed_jack(jack: str, tmp_path: Path) -> Iterator[str]:
    """A name for a server that a test kills; its place in the table is freed afterwards."""
    server = JackServer(f"{jack}-doomed", tmp_path / "last.txt")
    yield server.name
    server.free_name()
