"""`livecont sheet`: a sequence on an engraved page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import bars_named, book_option, key_named, opened
from livecont.commands.extend import wish_of
from livecont.commands.waiting import waiting

if TYPE_CHECKING:
    from livecont.score.engraving_page import Heading
    from livecont.score.engraving_sheet import Sheet
    from livecont.sequence.extending import Extension, Wish
    from livecont.sequence.extending_paper import Passage
    from livecont.sequence.extending_told import Told

LINKS = 4  # new ones, where nothing is said
_FILE = click.Path(path_type=Path)


@click.command(
    epilog="Example: livecont sheet sonata.mxl --bars 5-8 --ending close --html page.html"
)
@click.argument("source", required=False, metavar="[FILE]", type=_FILE)
@click.option("--entry", metavar="N", type=click.IntRange(1), help="An entry of the book instead.")
@click.option("--bars", metavar="A-B", help="Where the sequence is in a piece, as printed.")
@click.option("--part", metavar="NAME", help="Only one part, by its name or number.")
@click.option("--staff", metavar="N", type=click.IntRange(1, 16), help="Only one staff of a part.")
@click.option(
    "--links", metavar="N", type=click.IntRange(0, 64), default=LINKS, show_default=True,
    help="How many new links, at most; 0 shows those that there are.",
)  # fmt: skip
@click.option("--limit", metavar="HOW-FAR", help="compass, or clear: as the ear can follow.")
@click.option("--ending", metavar="HOW", help="stop, fold, turn, close, or rejoin the piece.")
@click.option("--key", metavar="KEY", help="The key, where another is found than you hear.")
@click.option("--compass", metavar="NAME", help="The instrument's keys: modern, italian-short …")
@click.option("--instrument", metavar="NAME", help="Whose sound has to be clear.")
@click.option("--title", metavar="TEXT", help="What stands above; else the source's name.")
@click.option("--no-reduction", is_flag=True, help="Leave out the staff of the main notes.")
@click.option("--html", metavar="FILE", type=_FILE, help="Write a page to print or to project.")
@click.option("--svg", metavar="FILE", type=_FILE, help="Write a drawing.")
@click.option("--force", is_flag=True, help="Write over what is there.")
@book_option
@click.option("--config", metavar="FILE", type=_FILE, help="Your configuration file.")
def sheet(source: Path | None, file: Path | None, config: Path | None, **given: Any) -> None:
    """Engrave a sequence: the model, the composer's links, new ones marked as such.

    With its label, roman numerals and main notes. FILE is a score with --bars, or a take, of which
    the last sequence is written down as it was played; or name an --entry of the book. The page is
    one file of its own; without --html and --svg it is HTML, named like the source.
    """
    from livecont.score.files import check_free, write_new

    if (source is None) == (given["entry"] is None):
        raise click.UsageError("name a file, or an --entry of the book")
    html, svg = given["html"], given["svg"]
    if html is None and svg is None:
        html = Path(f"entry-{given['entry']}.html" if source is None else f"{source.stem}.html")
    paths = [path for path in (html, svg) if path is not None]
    for path in paths:
        check_free(path, force=given["force"])
    page = _page(source, file, config, given)
    for path, text in ((html, page.html), (svg, page.svg)):
        if path is not None:
            write_new(path, text.encode("utf-8"), force=given["force"])
            click.echo(f"written: {path}")


def _page(
    source: Path | None, file: Path | None, config: Path | None, given: dict[str, Any]
) -> Sheet:
    wish = wish_of(config, given)
    if source is None:
        passage, heading = _of_entry(file, given)
    else:
        passage, heading = _of_file(source, config, given, wish)
    return page_of(passage, heading, wish, main=not given["no_reduction"])


def page_of(passage: Passage, heading: Heading, wish: Wish, *, main: bool = True) -> Sheet:
    """Return a passage, carried on as wished, as a page; the heading is completed."""
    from livecont.sequence.extending import extend

    with waiting("carrying it on"):
        return engraved_page(extend(passage, wish), heading, wish, main=main)


def engraved_page(extension: Extension, heading: Heading, wish: Wish, *, main: bool) -> Sheet:
    """Return what was carried on as a page; the heading is completed."""
    from livecont.commands.sheet_words import completed
    from livecont.score.engraving_sheet import sheet_of
    from livecont.sequence.extending_told import told_of

    told: Told = told_of(extension)
    with waiting("engraving"):
        return sheet_of(extension, told, completed(heading, extension, told, wish), main=main)


def _of_entry(file: Path | None, given: dict[str, Any]) -> tuple[Passage, Heading]:
    from dataclasses import replace

    from livecont.passages import passage_of_entry
    from livecont.score.engraving_page import Heading

    for name in ("bars", "part", "staff"):
        if given[name] is not None:
            raise click.UsageError(f"--{name} is for a piece; an entry is what it is")
    with opened(file) as book:
        entry = book.get(given["entry"])
    key = key_named(given["key"])
    passage = passage_of_entry(entry if key is None else replace(entry, key=key))
    source = entry.source if entry.source != entry.name else ""
    where = ", ".join(x for x in (source, f"bars {entry.bars}" if entry.bars else "") if x)
    played = entry.unit_q is None
    return passage, Heading(
        title=given["title"] or entry.name,
        where=where,
        given="as played" if played else "in the piece",
    )


def _of_file(
    source: Path, config: Path | None, given: dict[str, Any], wish: Wish
) -> tuple[Passage, Heading]:
    from livecont.commands.sheet_words import heading_of
    from livecont.gathering import is_recording
    from livecont.passages import Whereabouts, found_in
    from livecont.score.engraving_page import Heading

    title = given["title"] or source.stem
    on_paper = any(given[name] is not None for name in ("bars", "part", "staff"))
    if is_recording(source) and not on_paper:
        return _heard(source, config, given), Heading(title=title, given="as played")
    if given["bars"] is None:
        raise click.UsageError("say which --bars of the piece: livecont find lists sequences")
    where = Whereabouts(
        bars=bars_named(given["bars"]),
        part=given["part"],
        staff=given["staff"],
        key=key_named(given["key"]),
        lead_in=False,
    )
    with waiting(f"reading {source.name}"):
        found = found_in(source, where, wish.compass)
    return found.passage, heading_of(title, found)


def _heard(source: Path, config: Path | None, given: dict[str, Any]) -> Passage:
    """Return the last sequence of a take, written down."""
    from livecont.commands.options import preferences
    from livecont.gathering import heard_in
    from livecont.score.confined import confined
    from livecont.sequence.extending_heard import passage_of_pattern

    if given["ending"] == "rejoin":
        raise click.UsageError("--ending rejoin is for a piece; nothing follows what was played")
    settings = preferences(config, {}).settings
    with waiting(f"reading {source.name}"):
        patterns = confined(heard_in, source, settings, key_named(given["key"]))
    if len(patterns) > 1:
        click.echo(f"the last of {len(patterns)} sequences in it")
    return passage_of_pattern(patterns[-1])
