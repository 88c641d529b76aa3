"""`livecont book`: the player's own collection of sequences; its subcommands are in `book_*`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_add import add
from livecont.commands.book_files import export, import_
from livecont.commands.book_place import book_option, key_named, opened, quarters_named
from livecont.commands.book_play import carry, play

if TYPE_CHECKING:
    from fractions import Fraction

    from livecont.book.searching import Wanted
    from livecont.sequence.pattern import Kind

NUMBER = click.IntRange(1)


@click.group(epilog="Example: livecont book add --last")
def book() -> None:
    """Keep your own collection of sequences: from takes, from pieces, from what was just played.

    Each subcommand has --help. An entry is named by its number, which list shows.
    """


for command in (add, play, carry, export, import_):
    book.add_command(command)


@book.command("list", epilog="Example: livecont book list --step -1 --key 'e minor' --tag fast")
@click.argument("text", nargs=-1, metavar="[WORD…]")
@click.option("--label", metavar="LABEL", help="How the harmonic label begins: D2, 'D2 (D5/A4)'.")
@click.option("--step", metavar="N", type=click.IntRange(-56, 56), help="In degrees, down is -.")
@click.option("--unit", metavar="LENGTH", help="A link's length: 4 or 3/2 quarters, or 2.4s.")
@click.option("--key", metavar="KEY", help="The key, such as 'e minor'.")
@click.option("--kind", metavar="KIND", help="tonal, real or mixed.")
@click.option("--tag", "tags", metavar="TAG", multiple=True, help="A tag; several have all.")
@click.option("--starred", is_flag=True, help="Only those with a star.")
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line, notes and all.")
@book_option
def list_(text: tuple[str, ...], as_json: bool, file: Path | None, **given: Any) -> None:
    """List entries: all of them, or those that have every WORD and whatever else is asked for."""
    from livecont.book.searching import Wanted

    unit_q, unit_s = _unit(given["unit"])
    wanted = Wanted(
        text=" ".join(text),
        label=given["label"],
        step_degrees=given["step"],
        unit_q=unit_q,
        unit_s=unit_s,
        key=key_named(given["key"]),
        kind=_kind(given["kind"]),
        tags=given["tags"],
        starred=given["starred"],
    )
    _print(wanted, file, as_json)


def _print(wanted: Wanted, file: Path | None, as_json: bool) -> None:
    with opened(file) as book_:
        entries = book_.search(wanted)
    if as_json:
        from livecont.book.line import to_line

        for entry in entries:
            click.echo(to_line(entry))
        return
    from livecont.commands.book_words import print_entries

    print_entries(entries)


def _unit(text: str | None) -> tuple[Fraction | None, float | None]:
    """Read '4', '3/2' (quarters) or '2.4s' (seconds)."""
    if text is None:
        return None, None
    if not text.endswith("s"):
        return quarters_named(text), None
    from livecont.errors import ConfigError

    try:
        seconds = float(text[:-1])
    except ValueError as error:
        raise ConfigError(f"--unit {text}: write quarters such as 4, or seconds: 2.4s") from error
    return None, seconds


def _kind(name: str | None) -> Kind | None:
    from livecont.errors import unknown
    from livecont.sequence.pattern import Kind

    try:
        return None if name is None else Kind(name)
    except ValueError as error:
        raise unknown("kind", str(name), [one.value for one in Kind]) from error


@book.command(epilog="Example: livecont book show 3")
@click.argument("number", type=NUMBER)
@book_option
def show(number: int, file: Path | None) -> None:
    """Show an entry, its notes link by link, and others that are the same sequence."""
    from livecont.commands.book_words import print_entry

    with opened(file) as book_:
        entry = book_.get(number)
        twins = book_.twins(entry)
    print_entry(entry, twins)


@book.command(epilog="Example: livecont book note 3 'left hand alone first'")
@click.argument("number", type=NUMBER)
@click.argument("text", nargs=-1, metavar="[TEXT…]")
@click.option("--title", metavar="TEXT", help="What you call it.")
@click.option("--over", is_flag=True, help="In the place of what you wrote before.")
@book_option
def note(
    number: int, text: tuple[str, ...], title: str | None, over: bool, file: Path | None
) -> None:
    """Write something of your own to an entry, below what you wrote before."""
    from livecont.commands.book_words import told

    if not text and title is None and not over:
        raise click.UsageError("write a text, or a --title; --over without a text takes it away")
    with opened(file) as book_:
        before = book_.get(number).remarks
        written = " ".join(text)
        remarks = written if over or not before else f"{before}\n{written}" if text else before
        click.echo(told(book_.change(number, title=title, remarks=remarks)))


@book.command(epilog="Example: livecont book tag 3 fast 'left hand'")
@click.argument("number", type=NUMBER)
@click.argument("tags", nargs=-1, required=True, metavar="TAG…")
@click.option("--off", is_flag=True, help="Take them off instead.")
@book_option
def tag(number: int, tags: tuple[str, ...], off: bool, file: Path | None) -> None:
    """Put tags on an entry, or take them off."""
    with opened(file) as book_:
        entry = book_.tag(number, tags, off=off)
    click.echo(f"{number}: {', '.join(entry.tags) or 'no tags'}")


@book.command(epilog="Example: livecont book star 3")
@click.argument("numbers", nargs=-1, required=True, type=NUMBER, metavar="NUMBER…")
@click.option("--off", is_flag=True, help="Take it off instead.")
@book_option
def star(numbers: tuple[int, ...], off: bool, file: Path | None) -> None:
    """Give entries a star, for your favourites."""
    from livecont.commands.book_words import told

    with opened(file) as book_:
        for number in numbers:
            entry = book_.change(number, starred=not off)
            click.echo(told(entry) + (" *" if entry.starred else ""))


@book.command(epilog="Example: livecont book remove 3 --yes")
@click.argument("numbers", nargs=-1, required=True, type=NUMBER, metavar="NUMBER…")
@click.option("--yes", is_flag=True, help="Don't ask.")
@book_option
def remove(numbers: tuple[int, ...], yes: bool, file: Path | None) -> int:
    """Take entries out of the book, for good."""
    from livecont.commands.book_words import told

    with opened(file) as book_:
        for number in numbers:
            click.echo(told(book_.get(number)))
        if not yes:
            if not sys.stdin.isatty():
                raise click.UsageError("nobody to ask whether that is meant: say --yes")
            if not click.confirm("take out of the book, for good?"):
                return 0
        book_.remove(numbers)
    click.echo("taken out")
    return 0


@book.command(epilog="Example: livecont book same")
@click.argument("number", required=False, type=NUMBER)
@book_option
def same(number: int | None, file: Path | None) -> None:
    """Point out entries that are the same sequence, in whatever key: of one entry, or of all."""
    from livecont.commands.book_words import told, told_twin

    with opened(file) as book_:
        if number is None:
            groups = book_.same()
        else:
            entry = book_.get(number)
            twins = book_.twins(entry)
            groups = ((entry, twins),) if twins else ()
    for entry, twins in groups:
        click.echo(told(entry))
        for twin in twins:
            click.echo(f"   {told_twin(twin)}")
    if not groups:
        click.echo("no two entries are the same sequence")
