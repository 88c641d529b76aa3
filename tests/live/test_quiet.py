"""Standard error is turned away at the level of the C libraries, and always comes back."""

from __future__ import annotations

import os
import threading

import pytest

from livecont.live.quiet import silenced_stderr


def test_what_a_c_library_writes_is_not_seen(capfd: pytest.CaptureFixture[str]) -> None:
    os.write(2, b"before ")
    with silenced_stderr():
        os.write(2, b"noise ")
    os.write(2, b"after")
    assert capfd.readouterr().err == "before after"


def test_it_comes_back_after_an_exception(capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(ValueError, match="inside"), silenced_stderr():
        raise ValueError("inside")
    os.write(2, b"after")
    assert capfd.readouterr().err == "after"


def test_threads_that_leave_in_the_wrong_order_do_not_lose_it(
    capfd: pytest.CaptureFixture[str],
) -> None:
    entered, leave = threading.Event(), threading.Event()

    def other() -> None:
        with silenced_stderr():
            entered.set()
            assert leave.wait(5)
            os.write(2, b"noise ")

    thread = threading.Thread(target=other)
    with silenced_stderr():
        thread.start()
        assert entered.wait(5)
    os.write(2, b"still noise ")  # the other thread is inside yet
    leave.set()
    thread.join(5)
    os.write(2, b"after")
    assert capfd.readouterr().err == "after"


def test_no_descriptor_is_left_open() -> None:
    first = os.dup(2)
    os.close(first)
    for _ in range(50):
        with silenced_stderr():
            pass
    later = os.dup(2)
    os.close(later)
    assert later == first
