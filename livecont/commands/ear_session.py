"""Holding a game or a lesson: sounding process, keyboards, screen and signals, joined together.

Conventions: as in `commands.sit`: the main thread draws, the session's thread plays.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, TypeVar

import click

from livecont.commands.leaving import signals
from livecont.ear.running import KeepAnswer, SessionMachine, SessionRunner
from livecont.live.clock import SystemClock
from livecont.live.keyboard import ComputerKeys
from livecont.screen.ear_stage import EarStage

if TYPE_CHECKING:
    from livecont.commands.sound import Output
    from livecont.config import Preferences
    from livecont.live.sounder import Sounder

FRAMES_A_SECOND = 15

State = TypeVar("State")


def hold(
    machine: SessionMachine[State],
    chosen: Preferences,
    sounder: Sounder,
    output: Output,
    keeping: Callable[[], AbstractContextManager[KeepAnswer]],
) -> int:
    """Hold a session to its end and return the exit code.

    Raises:
        PortError: where no keyboard can be listened to.
    """
    runner: SessionRunner[State] = SessionRunner(
        machine,
        clock=SystemClock(),
        sounder=sounder,
        keeping=keeping,
        thru=not output.own if chosen.thru is None else chosen.thru,
        comes_back=output.comes_back,
    )
    try:
        runner.listen(chosen.input_name)
    except BaseException:
        runner.close()
        raise
    with runner, signals(runner.quit) as left, ComputerKeys(runner.press), EarStage() as stage:
        over = False
        while not over:
            over = runner.wait(1 / FRAMES_A_SECOND)
            if runner.latest is not None:
                stage.show(runner.latest)
    if stage.full_screen and runner.latest is not None:
        for sentence in runner.latest.said:
            click.echo(sentence)
    return left.code
