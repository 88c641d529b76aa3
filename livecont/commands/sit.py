"""Holding a sitting: sounding process, recorder, keyboards, screen and signals, joined together.

Conventions: the main thread draws, the runner's thread plays; a signal asks the runner to end and
raises nothing, so that everything is released and written on every way out. Times on the live
clock.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecont.commands.book_place import book_path
from livecont.commands.keeping import Keeper
from livecont.commands.leaving import signals
from livecont.commands.sound import Output
from livecont.errors import shown
from livecont.live.analysis import Analyst
from livecont.live.clock import SystemClock
from livecont.live.controls import Action
from livecont.live.keyboard import ComputerKeys
from livecont.live.parts import Health
from livecont.live.priority import favour_sitting
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

# short enough for all of them in 80 columns
_DOES = {
    Action.CHANGE_KEY: "key",
    Action.TONAL_REAL: "tonal/real",
    Action.REDUCTION: "main notes",
}
_PEDALS = {64: "sustain pedal", 66: "sostenuto pedal", 67: "soft pedal"}


def sit(
    chosen: Preferences,
    sounder: Sounder,
    output: Output,
    *,
    piece: tuple[PlayerEvent, ...] = (),
    opening: str | None = None,
    book: Path | None = None,
    goes_on: bool = False,
) -> int:
    """Hold a sitting to its end and return the exit code.

    Without a `piece` the player's keyboards are listened to; a piece is played by itself, and the
    sitting ends with its chain, unless it `goes_on` with the player. `opening` is told on the
    screen until there is other news. The last sequence can be kept in the `book`, the player's own
    where none is named.

    Raises:
        PortError: where no keyboard can be listened to.
    """
    favour_sitting()
    clock = SystemClock()
    troubles: list[str] = []
    alone = bool(piece) and not goes_on
    keeper = Keeper(book_path(book))
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
        thru=bool(piece) or _passes_on(chosen, output),
        comes_back=output.comes_back,
        ends_with_chain=alone,
        listeners=[keeper.hear],
    )
    with keeper, runner, signals(runner.quit) as left:
        if not alone:
            runner.listen(chosen.input_name, passed_on=_passes_on(chosen, output))
        if piece:
            runner.feed(piece)
        ends_s = clock.now_s() + piece[-1].at_s + UNHEARD_S if alone else float("inf")
        watch = _Watch(runner, keeper, chosen, troubles, opening)
        watch.show(lambda: clock.now_s() > ends_s)
    for trouble in troubles:
        click.echo(f"livecont: {shown(trouble)}", err=True)
    if keeper.said is not None:
        click.echo(keeper.said)
    if take.path is not None:
        click.echo(f"take: {shown(str(take.path))}")
    return left.code


def _passes_on(chosen: Preferences, output: Output) -> bool:
    """Whether the player's notes are passed on: where asked, or where others sound for him."""
    return not output.own if chosen.thru is None else chosen.thru


@dataclass(slots=True)
class _Watch:
    """What the main thread does while a sitting goes on: draw, and keep what is to be kept."""

    runner: Runner[machine.State]
    keeper: Keeper
    chosen: Preferences
    troubles: list[str]
    opening: str | None
    kept: int = 0  # wishes to keep that were heard
    told: tuple[str, ...] = ()  # notices there were at the last of them
    seen: int = 0  # troubles that were seen
    troubled: tuple[str, ...] = ()  # notices there were at the last of them

    def show(self, overdue: Callable[[], bool]) -> None:
        """Draw until the sitting is over; ask for its end where a piece has led to nothing."""
        runner = self.runner
        hints = control_hints(self.chosen.controls)
        with ComputerKeys(runner.press) as keys, Stage() as stage:
            while True:
                over = runner.wait(1 / FRAMES_A_SECOND)
                health = runner.health()
                self._keep(health)
                notes = ScreenNotes(
                    input_name=", ".join(health.inputs) or None,
                    output_name=health.sounder.output or None,
                    dropped_count=health.overruns + health.sounder.not_passed,
                    late_count=health.sounder.dropped_late,
                    take_path=str(health.take) if health.take is not None else None,
                    message=self._message(health),
                    hints=hints if keys.there else (),
                    start=self.chosen.settings.start,
                )
                latest = runner.latest
                stage.show(_ended(latest) if over else latest, notes)
                if over:
                    return
                if overdue() and runner.latest.sounding is None:
                    runner.quit()

    def _keep(self, health: Health) -> None:
        if health.keeps > self.kept:
            self.kept, self.told = health.keeps, health.notices
            self.keeper.keep(health.take.name if health.take is not None else "")

    def _message(self, health: Health) -> str | None:
        """Return the line that matters most; trouble or what was kept, until there is news."""
        if len(self.troubles) > self.seen:
            self.seen, self.troubled = len(self.troubles), health.notices
        if self.seen and health.notices == self.troubled:
            health = replace(health, notices=(*health.notices, self.troubles[-1]))
        elif self.keeper.said is not None and health.notices == self.told:
            health = replace(health, notices=(*health.notices, self.keeper.said))
        return message_of(health, self.opening)


def _ended(latest: Snapshot) -> Snapshot:
    """Return the last snapshot as it is after the end; it may have been taken just before."""
    left = "quit" if latest.phase is Phase.SOUNDING else latest.last_end
    return replace(latest, phase=Phase.ENDED, sounding=None, last_end=left)


def message_of(health: Health, opening: str | None) -> str | None:
    """Return the one line that matters most: what is typed, what is wrong, what is new."""
    if health.typed is not None:
        # what is typed comes first: it must not fall off a narrow screen
        return f"key: {health.typed}_  ({health.complaint or 'enter, or escape to leave it'})"
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
