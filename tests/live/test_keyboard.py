"""The computer's keyboard, on a real pseudo-terminal."""

from __future__ import annotations

import os
import queue
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from livecont.live.keyboard import ComputerKeys, keys_in

if sys.platform == "win32":
    pytest.skip("needs pseudo-terminals", allow_module_level=True)
else:
    import pty
    import termios

TOP = Path(__file__).resolve().parents[2]


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    """A terminal: the end of the one who types, and the program's."""
    hand, screen = pty.openpty()
    yield hand, screen
    os.close(hand)
    os.close(screen)


def test_keys_come_one_by_one_without_enter(terminal: tuple[int, int]) -> None:
    hand, screen = terminal
    pressed: queue.SimpleQueue[str] = queue.SimpleQueue()
    before = termios.tcgetattr(screen)
    with ComputerKeys(pressed.put, screen) as keys:
        assert keys.there
        os.write(hand, "sé \x1b[A\x1bOPq".encode())
        assert [pressed.get(timeout=10) for _ in range(4)] == ["s", "é", " ", "q"]
        during = termios.tcgetattr(screen)
        assert not during[3] & (termios.ICANON | termios.ECHO)
        assert during[3] & termios.ISIG  # Ctrl-C goes on working
    assert termios.tcgetattr(screen) == before


def test_the_terminal_is_put_back_after_an_exception(terminal: tuple[int, int]) -> None:
    _, screen = terminal
    before = termios.tcgetattr(screen)
    with pytest.raises(RuntimeError, match="fault"), ComputerKeys(lambda _: None, screen):
        raise RuntimeError("fault")
    assert termios.tcgetattr(screen) == before


def test_the_terminal_is_put_back_when_the_interpreter_ends(terminal: tuple[int, int]) -> None:
    _, screen = terminal
    before = termios.tcgetattr(screen)
    program = (
        "import sys\n"
        "from livecont.live.keyboard import ComputerKeys\n"
        "ComputerKeys(print).__enter__()\n"
        "sys.exit(3)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], stdin=screen, cwd=TOP, timeout=60, check=False
    )
    assert ran.returncode == 3
    assert termios.tcgetattr(screen) == before


def test_without_a_terminal_there_are_no_keys() -> None:
    program = (
        "from livecont.live.keyboard import ComputerKeys\n"
        "with ComputerKeys(print) as keys: print(keys.there)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        cwd=TOP,
        timeout=60,
        check=True,
    )
    assert ran.stdout.split() == [b"False"]


def test_a_terminal_that_goes_away_is_no_fault() -> None:
    hand, screen = pty.openpty()
    with ComputerKeys(lambda _: None, screen) as keys:
        os.close(hand)
    assert keys.there
    os.close(screen)


@pytest.mark.parametrize(
    ("signs", "keys"),
    [("\x1b", ("\x1b",)), ("\x1b[1;5Cx", ("x",)), ("a\x1b[", ("a",)), ("\x1bs", ("\x1b", "s"))],
)
def test_keys_that_send_several_signs_are_passed_over(signs: str, keys: tuple[str, ...]) -> None:
    """ECMA-48: a control sequence ends with a byte from 40 to 7E in hexadecimal."""
    assert keys_in(signs) == keys
