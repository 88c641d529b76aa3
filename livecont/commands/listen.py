"""`livecont listen`: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import book_option, opened
from livecont.commands.options import input_options, output_options, preferences, sitting_options

if TYPE_CHECKING:
    from livecont.sequence.events import PlayerEvent

LEAD_S = 1.0  # time to look at the screen before the entry's first note


@click.command(epilog="Example: livecont listen --key 'e minor' --compass italian-short")
@input_options
@output_options
@sitting_options
@click.option(
    "--from-book", metavar="N", type=click.IntRange(1), help="Go on from an entry of the book."
)
@book_option
def listen(config: Path | None, file: Path | None, **given: Any) -> int:
    """Listen to a MIDI keyboard, and carry on what is played.

    Play two links of a sequence: livecont plays the third when it is due, and the next, until you
    play on, until the limit, or until the keys run out. The keyboard and the output are chosen by
    themselves where that is clear; see livecont ports. Quit with q or Ctrl-C; the take is kept, and
    with b the last sequence in the book. --from-book plays an entry first, as if you had just
    played it.
    """
    piece, opening = _from_book(given.pop("from_book"), file, given)
    chosen = preferences(config, given)
    from livecont.commands.sound import choose, starting

    output = choose(chosen.output_name, chosen.input_name, listening=True)
    with starting(output) as started:
        from livecont.commands.sit import sit
    sounder = started.result()
    return sit(chosen, sounder, output, piece=piece, opening=opening, book=file, goes_on=True)


def _from_book(
    number: int | None, file: Path | None, given: dict[str, Any]
) -> tuple[tuple[PlayerEvent, ...], str | None]:
    """Return an entry as it is played, and what is told of it; its key counts if none is given."""
    if number is None:
        return (), None
    from livecont.book.performance import performed
    from livecont.commands.book_words import told

    with opened(file) as book:
        entry = book.get(number)
    if given["key"] is None:
        given["key"] = entry.key.name
    return performed(entry, LEAD_S), f"from the book, {told(entry)}"
