"""`livecont book add`: from a take, from the last sitting, from a piece."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import (
    bars_named,
    book_option,
    book_path,
    key_named,
    quarters_named,
)
from livecont.commands.options import preferences

if TYPE_CHECKING:
    from livecont.book.entry import Entry
    from livecont.sitting.events import Settings


@click.command(epilog="Example: livecont book add sonata.mxl --bars 12-19 --tag fast")
@click.argument("name", required=False, metavar="[FILE]")
@click.option("--last", is_flag=True, help="The last sitting's sequence.")
@click.option("--bars", metavar="A-B", help="Only what touches these bars, as printed.")
@click.option("--part", metavar="NAME", help="Only one part, by its name or number.")
@click.option("--staff", metavar="N", type=click.IntRange(1, 16), help="Only one staff of a part.")
@click.option(
    "--number", metavar="N", type=click.IntRange(0), help="Which one, as find --json numbers them."
)
@click.option("--all", "all_", is_flag=True, help="All there are in the file.")
@click.option("--unit", metavar="QUARTERS", help="A passage's link length, where find finds none.")
@click.option("--step", metavar="N", type=click.IntRange(-56, 56), help="A passage's step.")
@click.option("--on-paper", is_flag=True, help="Read a MIDI file as a score, not as played.")
@click.option("--key", metavar="KEY", help="The key of what was played, such as 'e minor'.")
@click.option("--title", metavar="TEXT", default="", help="What you call it.")
@click.option("--remark", metavar="TEXT", default="", help="A note of your own.")
@click.option("--tag", "tags", metavar="TAG", multiple=True, help="A tag; may be repeated.")
@click.option("--star", is_flag=True, help="One of your favourites.")
@book_option
@click.option(
    "--config", metavar="FILE", type=click.Path(path_type=Path), help="Your configuration file."
)
def add(file: Path | None, config: Path | None, **given: Any) -> None:
    """Put a sequence into the book.

    FILE is a take or another recording, of which the last sequence is kept that livecont would
    have carried on; or a score (MusicXML, Humdrum **kern, MEI; MIDI with --on-paper or --bars), of
    which the sequence is kept that is in the --bars. Entries that are the same sequence, in
    whatever key, are pointed out.
    """
    from livecont.book.keeping import keep_entries
    from livecont.commands.book_words import told, told_twin

    chosen = preferences(config, {})
    entries = _gathered(given, chosen.settings, chosen.take_folder)
    dressed = [
        replace(
            entry,
            title=given["title"],
            remarks=given["remark"],
            tags=tuple(dict.fromkeys(given["tags"])),
            starred=given["star"],
        )
        for entry in entries
    ]
    for kept in keep_entries(book_path(file), dressed):
        click.echo(told(kept.entry))
        for twin in kept.twins:
            click.echo(f"   {told_twin(twin)}")


def _gathered(given: dict[str, Any], settings: Settings, take_folder: Path | None) -> list[Entry]:
    """Return the entries that are asked for, without what the player says of them."""
    from livecont.gathering import is_recording

    if given["last"] == (given["name"] is not None):
        raise click.UsageError("name a file, or say --last")
    path = _last_take(take_folder) if given["last"] else Path(given["name"])
    places = ("bars", "part", "staff", "unit", "step")
    on_paper = given["on_paper"] or any(given[place] is not None for place in places)
    if is_recording(path) and not on_paper:
        return _heard(path, given, settings)
    if given["last"]:
        raise click.UsageError("--last is of what was played: no --bars, --part and so on")
    return _found(path, given, settings)


def _heard(path: Path, given: dict[str, Any], settings: Settings) -> list[Entry]:
    from livecont.errors import ScoreError
    from livecont.gathering import entry_heard, heard_in

    patterns = heard_in(path, settings, key_named(given["key"]))
    number = given["number"]
    if number is not None and not 1 <= number <= len(patterns):
        raise ScoreError(f"{path}: no sequence {number} in it, heard were {len(patterns)}, from 1")
    if given["all_"]:
        chosen = patterns
    else:
        chosen = (patterns[-1 if number is None else number - 1],)
        if number is None and len(patterns) > 1:
            click.echo(f"the last of {len(patterns)} sequences; --number 1 is the first, or --all")
    return [entry_heard(pattern, path.name, datetime.now(UTC)) for pattern in chosen]


def _found(path: Path, given: dict[str, Any], settings: Settings) -> list[Entry]:
    from livecont.errors import ScoreError
    from livecont.gathering import Passage, entries_found

    if (given["unit"] is None) != (given["step"] is None):
        raise click.UsageError("--unit and --step go together")
    if given["key"] is not None:
        raise click.UsageError("--key is for what was played; a score has its own")
    passage = Passage(
        bars=bars_named(given["bars"]),
        part=given["part"],
        staff=given["staff"],
        number=given["number"],
        unit_q=None if given["unit"] is None else quarters_named(given["unit"]),
        step_degrees=given["step"],
        every=given["all_"],
    )
    found = entries_found(path, passage, settings, datetime.now(UTC))
    if len(found) > 1 and not given["all_"]:
        bars = ", ".join(entry.bars for entry in found[:12]) + (" …" if len(found) > 12 else "")
        raise ScoreError(
            f"{path}: {len(found)} sequences in it, in bars {bars}: choose with --bars, --part or "
            "--number, or keep them --all"
        )
    return list(found)


def _last_take(folder: Path | None) -> Path:
    """Return the newest whole take; what a crash left unfinished is mended first."""
    from livecont.errors import ScoreError
    from livecont.live.take_folder import (
        TakeState,
        default_take_folder,
        list_takes,
        repair_takes,
    )

    folder = folder or default_take_folder()
    repair_takes(folder)
    whole = [
        take
        for take in list_takes(folder)
        if take.state is TakeState.WHOLE and (take.played or not take.counted)
    ]
    if not whole:
        raise ScoreError(f"no take in {folder} yet: livecont listen and livecont demo make them")
    return whole[-1].path
