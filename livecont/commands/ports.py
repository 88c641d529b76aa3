"""`livecont ports`: what there is, and what would be chosen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from livecont.live.port_names import Choice
    from livecont.live.ports import PortList


@click.command(epilog="Example: livecont ports --in stage --out piano")
@click.option("--in", "in_", metavar="NAME", help="Part of an input's name, to try it.")
@click.option("--out", metavar="NAME", help="Part of an output's name, internal or none.")
def ports(in_: str | None, out: str | None) -> None:
    """List the MIDI ports, and which of them listen would choose.

    An arrow marks what would be chosen with the same --in and --out, with the reason beside it.
    """
    from livecont.errors import PortError
    from livecont.live.ports import list_ports

    found = list_ports()
    if found.missing is not None:
        raise PortError(found.missing)
    for line in port_lines(found, in_, out):
        click.echo(line)


def port_lines(found: PortList, in_: str | None, out: str | None) -> Iterator[str]:
    """Yield the list, a line a port; livecont's own are left out."""
    from livecont.errors import PortError
    from livecont.live.port_names import INTERNAL, SILENT, choose_inputs, choose_output, is_ours

    yield f"MIDI system: {found.api}"
    chosen: tuple[Choice, ...] = ()
    complaint = None
    try:
        chosen = choose_inputs(found.inputs, in_)
    except PortError as error:
        complaint = str(error)
    yield "inputs:"
    yield from _side([name for name in found.inputs if not is_ours(name)], chosen, complaint)
    output: tuple[Choice, ...] = ()
    complaint = None
    try:
        output = (choose_output(found.outputs, out, chosen[0].name if chosen else None),)
    except PortError as error:
        complaint = str(error)
    yield "outputs:"
    names = [name for name in found.outputs if not is_ours(name)]
    yield from _side([*names, INTERNAL, SILENT], output, complaint)


def _side(names: list[str], chosen: tuple[Choice, ...], complaint: str | None) -> Iterator[str]:
    from livecont.live.port_names import is_through

    reasons = {choice.name: choice.reason for choice in chosen}
    width = max(map(len, names), default=0)
    for name in names:
        if name in reasons:
            yield f"> {name:{width}}  {reasons[name]}"
        elif is_through(name):
            yield f"  {name:{width}}  a through port, never chosen"
        else:
            yield f"  {name}"
    if complaint is not None:
        yield f"  ({complaint})"
