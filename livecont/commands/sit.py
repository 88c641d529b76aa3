"""Holding a sitting: sounding process, recorder, keyboards, screen and signals, joined together.

Conventions: the main thread draws, the runner's thread plays; a signal asks the runner to end and
raises nothing, so that everything is released and written on every way out. Times on the live
clock.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

from livecont.commands.leaving import signals
from livecont.commands.sound import Output
from livecont.live.analysis import Analyst
from livecont.live.clock import SystemClock
from livecont.live.controls import Action
from livecont.live.keyboard import ComputerKeys
from livecont.live.parts import Health
from livecont.live.report import SounderState
from livecont.live.runner import Runner
from livecont.live.sounder import Sounder
from livecont.live.take import TakeRecorder
from livecont.live.take_folder import default_take_folder
from livecont.screen import ScreenNotes, Stage
from livecont.sequence.events import PlayerEvent
from livecont.sitting import machine
from livecont.sitting.snapshot import Phase, Snapshot

if TYPE_CHECKING:
    from livecont.config import Controls, Preferences

FRAMES_A_SECOND = 15
UNHEARD_S = 10.0  # a piece that is over and leads to nothing is given so long

_DOES = {Action.TONAL_REAL: "tonal or real", Action.REDUCTION: "main notes"}
_PEDALS = {64: "sustain pedal", 66: "sostenuto pedal", 67: "soft pedal"}


def sit(
    chosen: Preferences,
    sounder: Sounder,
    output: Output,
    *,
    piece: tuple[PlayerEvent, ...] = (),
    opening: str | None = None,
) -> int:
    """Hold a sitting to its end and return the exit code.

    Without a `piece` the player's keyboards are listened to; a piece is played by itself, and the
    sitting ends with its chain. `opening` is told on the screen until there is other news.

    Raises:
        PortError: where no keyboard can be listened to.
    """
    clock = SystemClock()
    troubles: list[str] = []
    take = TakeRecorder(
        chosen.take_folder or default_take_folder(),
        datetime.now(UTC).astimezone(),
        start_s=clock.now_s(),
        tell=troubles.append,
    )
    runner: Runner[machine.State] = Runner(
        machine,
        chosen.settings,
        clock=clock,
        sounder=sounder,
        controls=chosen.controls,
        take=take,
        explainer=Analyst(clock, troubles.append),
        thru=_passes_on(chosen, output, bool(piece)),
        comes_back=output.comes_back,
        ends_with_chain=bool(piece),
    )
    with runner, signals(runner.quit) as left:
        if piece:
            runner.feed(piece)
            ends_s = clock.now_s() + piece[-1].at_s + UNHEARD_S
        else:
            runner.listen(chosen.input_name)
            ends_s = float("inf")
        _show(runner, chosen, opening, troubles, lambda: clock.now_s() > ends_s)
    for trouble in troubles:
        click.echo(f"livecont: {trouble}", err=True)
    if take.path is not None:
        click.echo(f"take: {take.path}")
    return left.code


def _passes_on(chosen: Preferences, output: Output, is_piece: bool) -> bool:
    if is_piece or chosen.thru is None:
        return is_piece or not output.own
    return chosen.thru


def _show(
    runner: Runner[machine.State],
    chosen: Preferences,
    opening: str | None,
    troubles: list[str],
    overdue: Callable[[], bool],
) -> None:
    """Draw until the sitting is over; ask for its end where a piece has led to nothing."""
    hints = control_hints(chosen.controls)
    with ComputerKeys(runner.press) as keys, Stage() as stage:
        while True:
            over = runner.wait(1 / FRAMES_A_SECOND)
            health = runner.health()
            notes = ScreenNotes(
                input_name=", ".join(health.inputs) or None,
                output_name=health.sounder.output or None,
                dropped_count=health.overruns + health.sounder.not_passed,
                late_count=health.sounder.dropped_late,
                take_path=str(health.take) if health.take is not None else None,
                message=message_of(health, troubles[-1] if troubles else opening),
                hints=hints if keys.there else (),
                start=chosen.settings.start,
            )
            latest = runner.latest
            stage.show(_ended(latest) if over else latest, notes)
            if over:
                return
            if overdue() and runner.latest.sounding is None:
                runner.quit()


def _ended(latest: Snapshot) -> Snapshot:
    """Return the last snapshot as it is after the end; it may have been taken just before."""
    left = "quit" if latest.phase is Phase.SOUNDING else latest.last_end
    return replace(latest, phase=Phase.ENDED, sounding=None, last_end=left)


def message_of(health: Health, opening: str | None) -> str | None:
    """Return the one line that matters most: what is typed, what is wrong, what is new."""
    if health.typed is not None:
        typed = f"key: {health.typed}_  (enter, or escape to leave it)"
        return f"{health.complaint}; {typed}" if health.complaint else typed
    if health.sounder.state is not SounderState.RUNNING and health.sounder.trouble:
        return health.sounder.trouble
    if health.echoing:
        return f"our own notes come back at {', '.join(health.echoing)}: left out of account"
    return health.notices[-1] if health.notices else opening


def control_hints(controls: Controls) -> tuple[tuple[str, str], ...]:
    """Return which control does what, the computer's keys first."""
    hints = []
    for action in Action:
        names = [name for name, does in controls.computer.items() if does == action]
        names += [_PEDALS[number] for number, does in controls.pedals.items() if does == action]
        if names:
            hints.append((" or ".join(names), _DOES.get(action, str(action).replace("-", " "))))
    return tuple(hints)
