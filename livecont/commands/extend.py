"""`livecont extend`: a sequence in a piece, carried on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import bars_named, key_named
from livecont.commands.options import preferences
from livecont.commands.sound_file import check_named_wav, sound_options, write_sound
from livecont.commands.waiting import waiting

if TYPE_CHECKING:
    from livecont.passages import Found
    from livecont.score.engraving_page import Heading
    from livecont.sequence.extending import Extension, Wish

REJOIN = "rejoin"
PAGES = (".html", ".svg")
_FILE = click.Path(path_type=Path)


@click.command(
    epilog="Example: livecont extend sonata.mxl --bars 5-8 --links 4 --ending close "
    "--musicxml longer.mxl"
)
@click.argument("piece", metavar="PIECE", type=_FILE)
@click.option("--bars", metavar="A-B", required=True, help="Where the sequence is, as printed.")
@click.option("--part", metavar="NAME", help="Only one part, by its name or number.")
@click.option("--staff", metavar="N", type=click.IntRange(1, 16), help="Only one staff of a part.")
@click.option(
    "--links", metavar="N", type=click.IntRange(1, 128), help="How many new links, at most."
)
@click.option("--limit", metavar="HOW-FAR", help="compass, or clear: as the ear can follow.")
@click.option("--ending", metavar="HOW", help="stop, fold, turn, close, or rejoin the piece.")
@click.option("--key", metavar="KEY", help="The key, where another is found than you hear.")
@click.option("--compass", metavar="NAME", help="The instrument's keys: modern, italian-short …")
@click.option("--instrument", metavar="NAME", help="Whose sound has to be clear.")
@click.option("--midi", metavar="FILE", type=_FILE, help="Write a MIDI file.")
@click.option("--musicxml", metavar="FILE", type=_FILE, help="Write MusicXML, or .mxl.")
@click.option("--sheet", metavar="FILE", type=_FILE, help="Engrave a page, .html or .svg.")
@click.option("--wav", "sound", metavar="FILE", type=_FILE, help="Write a sound file.")
@sound_options
@click.option("--force", is_flag=True, help="Write over what is there.")
@click.option("--config", metavar="FILE", type=_FILE, help="Your configuration file.")
def extend(piece: Path, force: bool, config: Path | None, **given: Any) -> None:
    """Carry a sequence in a piece on: N links, or to its limit, and then an ending.

    PIECE is a score: MusicXML, MIDI, Humdrum **kern or MEI. The passage comes out with its own
    bars, voices and staves, the new links behind the composer's. Without --links it goes on to
    the limit.
    """
    from livecont.commands.passage_words import told_of_find, told_of_new, told_of_others

    _check_names(piece, given, force)
    if given["sheet"] is not None and given["sheet"].suffix.lower() not in PAGES:
        raise click.UsageError(f"--sheet {given['sheet']}: name it .html or .svg")
    if given["sound"] is not None:
        check_named_wav(given["sound"])
    found, extension = extended(piece, config, given)
    click.echo(f"{piece.name}, {told_of_find(found)}")
    others = told_of_others(found)
    if others is not None:
        click.echo(others)
    click.echo(told_of_new(extension))
    _write(extension, piece, given, force)
    if given["sheet"] is not None:
        from livecont.commands.sheet_words import heading_of

        heading = heading_of(piece.stem, found)
        _write_sheet(extension, heading, wish_of(config, given), given["sheet"], force=force)
    if given["sound"] is not None:
        from livecont.hearable import written

        write_sound(given["sound"], written(extension.score), given, force=force)
        click.echo(f"written: {given['sound']}")


def _check_names(piece: Path, given: dict[str, Any], force: bool) -> None:
    """Check, before the work is done, that every file has a name of its own that it may have."""
    from livecont.score.files import check_free

    taken = {piece.resolve(): "the piece itself"}
    for name in ("midi", "musicxml", "sheet", "sound"):
        path = given[name]
        if path is None:
            continue
        place = path.resolve()
        if place in taken:
            raise click.UsageError(f"{path} is {taken[place]}: choose another name")
        taken[place] = "named for two files"
        check_free(path, force=force)


def extended(piece: Path, config: Path | None, given: dict[str, Any]) -> tuple[Found, Extension]:
    """Return the sequence that the options name, and the passage carried on as they say."""
    from livecont.passages import Whereabouts, found_in
    from livecont.sequence.extending import extend as carry_on

    wish = wish_of(config, given)
    where = Whereabouts(
        bars=bars_named(given["bars"]),
        part=given["part"],
        staff=given["staff"],
        key=key_named(given["key"]),
    )
    with waiting(f"reading {piece.name}"):
        found = found_in(piece, where, wish.compass)
    with waiting("carrying it on"):
        return found, carry_on(found.passage, wish)


def wish_of(config: Path | None, given: dict[str, Any]) -> Wish:
    """Return how far a passage is to go, from the options and the configuration."""
    from livecont.errors import unknown
    from livecont.sequence.endings import Ending
    from livecont.sequence.extending import Wish

    rejoin = given["ending"] == REJOIN
    if given["ending"] is not None and given["ending"] not in (*Ending, REJOIN):
        raise unknown("ending", given["ending"], [*(one.value for one in Ending), REJOIN])
    options = {name: given[name] for name in ("limit", "compass", "instrument")}
    options["ending"] = None if rejoin else given["ending"]
    settings = preferences(config, options).settings
    links = given["links"]
    return Wish(
        compass=settings.compass,
        links=settings.most_links if links is None else links,
        limit=settings.limit,
        ending=None if rejoin else settings.ending,
        spectrum=settings.spectrum,
    )


def _write(extension: Extension, piece: Path, given: dict[str, Any], force: bool) -> None:
    from livecont.score.writing import write_musicxml
    from livecont.score.writing_midi import write_midi

    if given["midi"] is not None:
        write_midi(extension.score, given["midi"], force=force)
        click.echo(f"written: {given['midi']}")
    if given["musicxml"] is not None:
        write_musicxml(extension.score, given["musicxml"], title=piece.stem, force=force)
        click.echo(f"written: {given['musicxml']}")


def _write_sheet(
    extension: Extension, heading: Heading, wish: Wish, path: Path, *, force: bool
) -> None:
    from livecont.commands.sheet import engraved_page
    from livecont.score.files import write_new

    page = engraved_page(extension, heading, wish, main=True)
    text = page.svg if path.suffix.lower() == ".svg" else page.html
    write_new(path, text.encode("utf-8"), force=force)
    click.echo(f"written: {path}")
