"""`livecont check`: whether this machine can play, and what to do if not."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecont.commands.options import preferences
from livecont.errors import shown

if TYPE_CHECKING:
    from livecont.checkup import Finding
    from livecont.live.take_folder import TakeOnDisk


@click.command(epilog="Example: livecont check --takes")
@click.option("--in", "in_", metavar="NAME", help="Part of an input's name.")
@click.option("--out", metavar="NAME", help="Part of an output's name, internal or none.")
@click.option("--take-folder", metavar="FOLDER", help="Where recordings are kept.")
@click.option("--takes", is_flag=True, help="List the recordings, and mend unfinished ones.")
@click.option(
    "--config", metavar="FILE", type=click.Path(path_type=Path), help="Your configuration file."
)
def check(
    in_: str | None,
    out: str | None,
    take_folder: str | None,
    takes: bool,
    config: Path | None,
) -> None:
    """Say whether this machine can play, and what to install if not.

    Tries the MIDI system, the ports, livecont's own sound, how late messages are sent, a round
    trip through a port, and the folder for recordings. It takes some seconds.
    """
    given = {"in_": in_, "out": out, "take_folder": take_folder}
    chosen = preferences(config, given)
    from livecont.live.take_folder import default_take_folder

    folder = chosen.take_folder or default_take_folder()
    if takes:
        _list_takes(folder)
        return
    from livecont.checkup import Verdict, check_all

    findings = []
    for finding in check_all(
        chosen.input_name, chosen.output_name, folder, terminal=sys.stdout.isatty()
    ):
        click.echo(f"{finding.verdict:5} {finding.about:10} {shown(finding.said)}")
        findings.append(finding)
    click.echo(_verdict([finding for finding in findings if finding.verdict is Verdict.NO]))


def _verdict(missing: list[Finding]) -> str:
    if not missing:
        return "This machine can play: livecont listen"
    about = ", ".join(finding.about for finding in missing)
    return f"listen can't work yet ({about}); demo and replay need none of it"


def _list_takes(folder: Path) -> None:
    from livecont.live.take_folder import list_takes, repair_takes

    for mended in repair_takes(folder):
        if mended.trouble is not None:
            click.echo(f"{shown(str(mended.journal))}: {shown(mended.trouble)}")
        elif mended.take is None:
            click.echo(f"{shown(str(mended.journal))}: held nothing, removed")
        else:
            click.echo(f"{shown(str(mended.take))}: mended")
    found = list_takes(folder)
    if not found:
        click.echo(f"no takes in {shown(str(folder))}")
    for take in found:
        click.echo(_line(take))


def _line(take: TakeOnDisk) -> str:
    """Return what the list says of a take."""
    line = f"{shown(str(take.path))}  {take.state}"
    if take.state in ("unreadable", "no file"):
        return line
    if not take.counted:
        return f"{line}  {take.size / 2**20:.1f} MB, not counted"
    minutes, seconds = divmod(round(take.length_s), 60)
    return f"{line}  {minutes}:{seconds:02d}  {take.played} notes played, {take.sounded} sounded"
