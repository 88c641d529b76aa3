"""Signals that end a sitting in good order."""

from __future__ import annotations

import os
import signal
import sys

import pytest

from livecont.live.stopping import ends_on_signals

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="sends POSIX signals")


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_signal_asks_for_the_end_once(name: str) -> None:
    number, asked = getattr(signal, name), list[str]()
    theirs: list[int] = []
    before = signal.signal(number, lambda n, _: theirs.append(n))
    try:
        with ends_on_signals(lambda: asked.append(name)):
            os.kill(os.getpid(), number)
            assert asked == [name]
            os.kill(os.getpid(), number)  # who insists gets what he would have had without us
            assert (asked, theirs) == ([name], [number])
        os.kill(os.getpid(), number)
        assert (asked, theirs) == ([name], [number, number])
    finally:
        signal.signal(number, before)


def test_what_is_ignored_stays_ignored() -> None:
    """As under nohup."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with ends_on_signals(lambda: pytest.fail("asked")):
            os.kill(os.getpid(), signal.SIGHUP)
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)
