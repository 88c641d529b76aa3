"""Entries of the book in words and as a table, for people.

Conventions: lengths on paper in quarters, as played in seconds; a star is *.
"""

from __future__ import annotations

from collections.abc import Sequence

import click
from rich.console import Console
from rich.table import Table

from livecont.book.book import Twin
from livecont.book.entry import BookNote, Entry
from livecont.commands.find_table import WIDE, number
from livecont.screen.wording import step_words

STAR = "*"


def print_entries(entries: Sequence[Entry]) -> None:
    """Print entries as a table."""
    if not entries:
        click.echo("no entry found")
        return
    console = Console()
    if not console.is_terminal:
        console = Console(width=WIDE)
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("", justify="right")
    for name in ("", "step", "kind", "key", "label", "links", "unit", "from", "tags"):
        table.add_column(name, justify="right" if name == "links" else "left")
    for entry in entries:
        table.add_row(
            str(entry.number),
            STAR if entry.starred else "",
            step_of(entry),
            entry.kind.value,
            entry.key.name,
            entry.label or "",
            str(entry.links),
            unit_of(entry),
            _plain(origin_of(entry)),
            _plain(", ".join(entry.tags)),
        )
    console.print(table)
    click.echo(f"{len(entries)} {'entry' if len(entries) == 1 else 'entries'}")


def _plain(text: str) -> str:
    """Keep square brackets in a player's words from being taken for colours."""
    from rich.markup import escape

    return escape(" ".join(text.split()))


def step_of(entry: Entry) -> str:
    """Return an entry's step as a musician says it."""
    return step_words(entry.step_degrees, entry.shift_semitones, entry.kind)


def unit_of(entry: Entry) -> str:
    """Return a link's length: '4 quarters', '2.37 s'."""
    if entry.unit_q is None:
        return f"{entry.unit_s:.2f} s"
    return f"{number(entry.unit_q)} quarter{'' if entry.unit_q == 1 else 's'}"


def origin_of(entry: Entry) -> str:
    """Return title, source and bars in one line, as far as there are any."""
    bars = f"bars {entry.bars}" if "-" in entry.bars else f"bar {entry.bars}" if entry.bars else ""
    return ", ".join(part for part in (entry.title, entry.source, bars) if part)


def told(entry: Entry) -> str:
    """Return an entry in one line."""
    label = f", {entry.label}" if entry.label else ""
    origin = origin_of(entry)
    return (
        f"{entry.number}: {step_of(entry)}, {entry.kind}, in {entry.key.name}{label}, "
        f"{entry.links} links of {unit_of(entry)}{f'; {origin}' if origin else ''}"
    )


def told_twin(twin: Twin) -> str:
    """Return in one line that another entry is the same sequence."""
    name = twin.entry.title or origin_of(twin.entry)
    return f"also entry {twin.entry.number}{f' ({name})' if name else ''}: {twin.likeness}"


def print_entry(entry: Entry, twins: Sequence[Twin]) -> None:
    """Print all there is to tell of an entry, its notes link by link."""
    click.echo(told(entry) + (f" {STAR}" if entry.starred else ""))
    if entry.tags:
        click.echo(f"tags: {', '.join(entry.tags)}")
    for line in entry.remarks.splitlines():
        click.echo(f"  | {line}")
    for link in range(1, entry.links + 1):
        click.echo(f"link {link}: {_notes([n for n in entry.notes if n.link == link])}")
    click.echo(f"kept: {entry.created.astimezone():%Y-%m-%d %H:%M}")
    for twin in twins:
        click.echo(told_twin(twin))


def _notes(notes: Sequence[BookNote]) -> str:
    """Return notes in order, those of one moment joined by a dot."""
    moments: dict[float, list[BookNote]] = {}
    for note in notes:
        moments.setdefault(round(float(note.onset_units), 2), []).append(note)
    return " ".join(
        ".".join(note.spelling.name for note in sorted(chord, key=lambda n: -n.spelling.midi))
        for _, chord in sorted(moments.items())
    )
