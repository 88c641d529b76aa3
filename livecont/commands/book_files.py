"""`livecont book export` and `import`: lines of JSON, and folders of MIDI files.

Conventions: a folder has a MIDI file an entry, and `entries.jsonl`, which says of each file what
MIDI can't. A MIDI file that is not named there is heard as a recording. Nothing that was there is
written over without `--force`. What is imported is untrusted.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import book_option, opened
from livecont.commands.options import preferences

if TYPE_CHECKING:
    from livecont.book.entry import Entry

INDEX = "entries.jsonl"
LINES = ".jsonl"
MOST_FILE_BYTES = 256 * 2**20
MOST_ENTRIES = 100_000
EASY_BPM = 100  # beats of a link that was played are counted so that they are near this
_LETTERS = re.compile(r"[^a-z0-9]+")


@click.command(epilog="Example: livecont book export mine.jsonl")
@click.argument("to", metavar="FILE.jsonl|FOLDER|-")
@click.argument("numbers", nargs=-1, type=click.IntRange(1), metavar="[NUMBER…]")
@click.option("--force", is_flag=True, help="Write over what is there.")
@book_option
def export(to: str, numbers: tuple[int, ...], force: bool, file: Path | None) -> None:
    """Write entries, all or some, to a file of JSON Lines, or to a folder as MIDI files.

    The file holds everything; so does the folder, with an entries.jsonl beside the MIDI files.
    """
    from livecont.book.line import to_line
    from livecont.score.files import write_new

    with opened(file) as book:
        entries = tuple(book.get(n) for n in numbers) if numbers else book.search()
    if to == "-":
        for entry in entries:
            click.echo(to_line(entry))
        return
    path = Path(to)
    if path.suffix == LINES:
        write_new(path, "".join(f"{to_line(entry)}\n" for entry in entries).encode(), force=force)
    else:
        _write_folder(path, entries, force=force)
    click.echo(f"{_count(len(entries))} written to {path}")


def _write_folder(folder: Path, entries: Sequence[Entry], *, force: bool) -> None:
    from livecont.book.line import to_json
    from livecont.errors import BookError
    from livecont.score.files import write_new

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BookError(f"{folder}: no folder can be made there ({error.strerror})") from error
    names = [f"{entry.number:04d}-{_slug(entry.name)}.mid" for entry in entries]
    there = [name for name in (*names, INDEX) if (folder / name).exists()]
    if there and not force:
        raise BookError(f"{folder / there[0]} is there already: --force writes over it")
    index = ""
    for name, entry in zip(names, entries, strict=True):
        write_new(folder / name, midi_of(entry), force=True)
        index += json.dumps({"file": name, "entry": to_json(entry)}, ensure_ascii=False) + "\n"
    write_new(folder / INDEX, index.encode(), force=True)


def _slug(name: str) -> str:
    return _LETTERS.sub("-", name.casefold())[:40].strip("-") or "sequence"


def midi_of(entry: Entry) -> bytes:
    """Return an entry's own links as a MIDI file, in its tempo and key."""
    from livecont.book.performance import performed
    from livecont.live.take_file import Entry as Written
    from livecont.live.take_file import EntryKind, take_file
    from livecont.live.virtual_keyboard import message_of

    quarters = float(entry.unit_q or max(1, round(entry.unit_s * EASY_BPM / 60)))
    signature = f"{entry.key.fifths} {int(entry.key.minor)} {entry.key.name}"
    written = [
        Written(0.0, EntryKind.TEMPO, text=str(round(1e6 * entry.unit_s / quarters))),
        Written(0.0, EntryKind.KEY, text=signature),
    ]
    written += [Written(e.at_s, EntryKind.PLAYED, message_of(e)) for e in performed(entry)]
    return take_file(written, title=entry.name)


@click.command("import", epilog="Example: livecont book import theirs.jsonl --tag theirs")
@click.argument("source", metavar="FILE.jsonl|FOLDER|-")
@click.option("--tag", "tags", metavar="TAG", multiple=True, help="Put a tag on each.")
@book_option
@click.option(
    "--config", metavar="FILE", type=click.Path(path_type=Path), help="Your configuration file."
)
def import_(source: str, tags: tuple[str, ...], file: Path | None, config: Path | None) -> None:
    """Put entries into the book that export wrote, or that are in a folder of MIDI files.

    All or none. What is in the book already, to the last note and word, is left out.
    """
    entries = list(_entries(source, config))
    with opened(file) as book:
        known = {_content(entry) for entry in book.search()}
        fresh = {content: entry for entry in entries if (content := _content(entry)) not in known}
        added = book.add_all(
            replace(entry, tags=tuple(dict.fromkeys((*entry.tags, *tags))))
            for entry in fresh.values()
        )
        twins = sum(bool(book.twins(entry)) for entry in added)
    left_out = len(entries) - len(added)
    click.echo(
        f"{_count(len(added))} put in"
        + (f", {left_out} left out that are there already" if left_out else "")
        + (f"; {twins} the same sequence as another: livecont book same" if twins else "")
    )


def _content(entry: Entry) -> str:
    """Return all that an entry says, but for its number and tags."""
    from livecont.book.line import to_line

    return to_line(replace(entry, number=None, tags=()))


def _entries(source: str, config: Path | None) -> Iterator[Entry]:
    if source == "-":
        yield from _of_lines("standard input", sys.stdin.buffer.read(MOST_FILE_BYTES + 1))
        return
    path = Path(source)
    if path.is_dir():
        yield from _of_folder(path, config)
        return
    yield from _of_lines(str(path), _read(path))


def _read(path: Path) -> bytes:
    from livecont.errors import BookError
    from livecont.plainness import not_plain

    try:
        wrong = not_plain(path)
        if wrong is not None:
            raise BookError(f"{path}: can't be read ({wrong})")
        with path.open("rb") as file:
            return file.read(MOST_FILE_BYTES + 1)
    except BookError:
        raise
    except (OSError, ValueError) as error:
        raise BookError(
            f"{path}: can't be read ({getattr(error, 'strerror', None) or error})"
        ) from error


def _of_lines(name: str, data: bytes) -> Iterator[Entry]:
    from livecont.book.line import of_line
    from livecont.errors import BookError

    for number, line in _lines(name, data):
        try:
            yield of_line(line)
        except BookError as error:
            raise BookError(f"{name}, line {number}: {error}") from error


def _lines(name: str, data: bytes) -> Iterator[tuple[int, str]]:
    """Yield the lines that are not empty, numbered from 1."""
    from livecont.errors import BookError

    if len(data) > MOST_FILE_BYTES:
        raise BookError(f"{name}: larger than {MOST_FILE_BYTES // 2**20} MB: not a book")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BookError(f"{name}: not UTF-8 text") from error
    lines = [(number, line) for number, line in enumerate(text.split("\n"), 1) if line.strip()]
    if not lines:
        raise BookError(f"{name}: no entries in it")
    if len(lines) > MOST_ENTRIES:
        raise BookError(f"{name}: more than {MOST_ENTRIES} entries")
    yield from lines


def _of_folder(folder: Path, config: Path | None) -> Iterator[Entry]:
    from livecont.errors import BookError

    known: set[str] = set()
    if (folder / INDEX).is_file():
        name = str(folder / INDEX)
        for number, line in _lines(name, _read(folder / INDEX)):
            try:
                file, entry = _of_index(line)
            except BookError as error:
                raise BookError(f"{name}, line {number}: {error}") from error
            known.add(file)
            yield entry
    others = [path for path in sorted(folder.glob("*.mid")) if path.name not in known]
    if not known and not others:
        raise BookError(f"{folder}: neither {INDEX} nor MIDI files in it")
    yield from _heard(others[: MOST_ENTRIES + 1], config)


def _of_index(line: str) -> tuple[str, Entry]:
    from livecont.book.fields import Fields, parse
    from livecont.book.line import of_json

    fields = Fields(parse(line))
    file, value = fields.text("file"), fields.take("entry", dict)
    fields.done()
    return file, of_json(value)


def _heard(paths: Sequence[Path], config: Path | None) -> Iterator[Entry]:
    """Yield what is heard in MIDI files; one without a sequence is told and left out."""
    from livecont.errors import ScoreError

    if not paths:
        return
    from livecont.gathering import entry_heard, heard_in

    settings: Any = preferences(config, {}).settings
    for path in paths:
        try:
            patterns = heard_in(path, settings)
        except ScoreError as error:
            click.echo(f"livecont: {error}", err=True)
            continue
        for pattern in patterns:
            yield entry_heard(pattern, path.name, datetime.now(UTC))


def _count(number: int) -> str:
    return f"{number} entr{'y' if number == 1 else 'ies'}"
