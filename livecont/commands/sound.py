"""Where a sitting sounds: the output chosen, and its process started while the rest is imported.

Conventions: light to import, so that the sounding process is under way before anything slow is.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

from livecont.errors import PortError
from livecont.live.port_names import INTERNAL, SILENT, choose_inputs, choose_output
from livecont.live.ports import Roster
from livecont.live.sounder import Sounder
from livecont.live.wire import OutputChoice, OutputKind

OWN_SOUND_REASON = "the keyboard's own sound"


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """Where the sound goes: `own` where it is the sound of the keyboard that is played."""

    choice: OutputChoice
    own: bool = False

    @property
    def comes_back(self) -> bool:
        """Whether what is sent may arrive at an input."""
        return self.choice.kind in (OutputKind.PORT, OutputKind.VIRTUAL)


def choose(wanted: str | None, input_name: str | None, *, listening: bool) -> Output:
    """Return the output to open; `listening` for a keyboard that may sound by itself.

    Raises:
        PortError: where none fits, or the MIDI system that is needed is not there.
    """
    if wanted is not None and wanted.casefold() in (INTERNAL, SILENT):
        return _without_port(wanted.casefold())
    roster = Roster()
    try:
        first = choose_inputs(roster.inputs(), input_name)[0].name if listening else None
        found = choose_output(roster.outputs(), wanted, first)
        api = roster.api_number
    finally:
        roster.close()
    if found.name in (INTERNAL, SILENT):
        return _without_port(found.name)
    choice = OutputChoice(kind=OutputKind.PORT, name=found.name, api=api)
    return Output(choice=choice, own=found.reason == OWN_SOUND_REASON)


def _without_port(name: str) -> Output:
    kind = OutputKind.INTERNAL if name == INTERNAL else OutputKind.SILENT
    return Output(choice=OutputChoice(kind=kind))


@contextmanager
def starting(output: Output) -> Iterator[Future[Sounder]]:
    """Start the sounding process in the background; the result is there after the block.

    Its result raises PortError where the output can't be opened.
    """
    with ThreadPoolExecutor(1, thread_name_prefix="starting") as pool:
        yield pool.submit(Sounder.start, output.choice)


def opened(wanted: str | None) -> tuple[Output, Sounder, str | None]:
    """Open what was asked for, or what there is; the last value says why it is silent, if it is.

    Where nobody plays, silence is better than nothing.

    Raises:
        PortError: what was asked for can't be opened.
    """
    try:
        output = choose(wanted, None, listening=False)
    except PortError:
        if wanted is not None:
            raise
        output = choose(INTERNAL, None, listening=False)
    try:
        return output, Sounder.start(output.choice), None
    except PortError as error:
        if wanted is not None:
            raise
        silent = Output(choice=OutputChoice(kind=OutputKind.SILENT))
        return silent, Sounder.start(silent.choice), str(error)
