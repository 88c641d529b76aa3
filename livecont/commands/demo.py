"""`livecont demo`: one of our own pieces, played into the live engine; no hardware needed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.options import output_options, preferences, sitting_options

if TYPE_CHECKING:
    from livecont.demo import Piece

LEAD_S = 1.0  # time to look at the screen before the first note


@click.command(epilog="Example: livecont demo lament --limit compass")
@click.argument("name", required=False, metavar="[NAME]")
@click.option("--list", "list_", is_flag=True, help="Say which pieces there are.")
@click.option("--write", metavar="FILE.mid", help="Write the piece to a MIDI file instead.")
@output_options
@sitting_options
def demo(
    name: str | None, list_: bool, write: str | None, config: Path | None, **given: Any
) -> int:
    """Play a piece of two links by itself, and hear it carried on.

    Everything but the keyboard is real: the piece goes into the live engine as it is played, which
    takes over in time and ends by itself at the piece's limit. It sounds at a synth's port or with
    livecont's own sound; without either it is silent, and says so.
    """
    from livecont.demo import demo_names, load_piece, perform

    if list_:
        for known in demo_names():
            piece = load_piece(known)
            click.echo(f"{known:18} {piece.title} ({piece.key.name}; {piece.about})")
        return 0
    piece = load_piece(name or demo_names()[0])
    if write is not None:
        _write(Path(write), piece)
        return 0
    as_written = {"key": piece.key.name, "compass": piece.compass, "limit": str(piece.links)}
    wanted = {option: value for option, value in given.items() if value is not None}
    chosen = preferences(config, {**as_written, **wanted})
    from livecont.commands.sound import opened

    output, sounder, trouble = opened(chosen.output_name)
    from livecont.commands.sit import sit

    opening = f"demo: {piece.title}" if trouble is None else f"no sound: {trouble}"
    code = sit(chosen, sounder, output, piece=perform(piece, LEAD_S), opening=opening)
    if trouble is not None:
        click.echo(f"it was silent: {trouble}")
    return code


def _write(path: Path, piece: Piece) -> None:
    """Write a piece as it is played, to be replayed or opened in another program."""
    from livecont.demo import perform
    from livecont.errors import ScoreError
    from livecont.live.take_file import Entry, EntryKind, take_file
    from livecont.live.virtual_keyboard import message_of

    key = f"{piece.key.fifths} {int(piece.key.minor)} {piece.key.name}"
    entries = [
        Entry(0.0, EntryKind.TEMPO, text=str(round(60e6 / piece.tempo_bpm))),
        Entry(0.0, EntryKind.KEY, text=key),
    ]
    played = perform(piece)
    entries += [Entry(event.at_s, EntryKind.PLAYED, message_of(event)) for event in played]
    try:
        with path.open("xb") as file:
            file.write(take_file(entries, title=piece.title))
    except FileExistsError as error:
        raise ScoreError(f"{path} is there already: choose another name") from error
    except OSError as error:
        raise ScoreError(f"{path}: can't be written ({error.strerror})") from error
