"""`livecont book play` and `carry`: an entry heard, and an entry carried on by the live engine."""

from __future__ import annotations

from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import book_option, opened
from livecont.commands.options import output_options, preferences, sitting_options

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecont.book.entry import Entry
    from livecont.config import Preferences
    from livecont.live.sounder import Sounder
    from livecont.sequence.events import PlayerEvent
    from livecont.sequence.pattern import Link

LEAD_S = 0.5  # before the first note
RING_S = 0.4  # after the last release

NUMBER = click.IntRange(1)


@click.command(epilog="Example: livecont book play 3 --links 2 --tempo 70")
@click.argument("number", type=NUMBER)
@click.option(
    "--links", metavar="N", type=click.IntRange(0, 128), default=0, help="Links that follow."
)
@click.option(
    "--tempo", metavar="PERCENT", type=click.IntRange(10, 400), default=100, help="Of its own."
)
@click.option("--out", metavar="NAME", help="Part of an output's name, internal or none.")
@book_option
@click.option(
    "--config", metavar="FILE", type=click.Path(path_type=Path), help="Your configuration file."
)
def play(number: int, file: Path | None, config: Path | None, **given: Any) -> None:
    """Play an entry: its own links, and on wish some that follow.

    It sounds at a synth's port or with livecont's own sound. Ctrl-C ends it.
    """
    chosen = preferences(config, {"out": given["out"]})
    with opened(file) as book:
        entry = book.get(number)
    from livecont.book.performance import performed
    from livecont.commands.book_words import told
    from livecont.commands.sound import opened as sound

    unit_s = entry.unit_s * 100 / given["tempo"]
    events = [*performed(entry, 0.0, unit_s), *_following(entry, given["links"], unit_s, chosen)]
    _, sounder, trouble = sound(chosen.output_name)
    try:
        click.echo(told(entry))
        if trouble is not None:
            click.echo(f"it is silent: {trouble}")
        _sound(sounder, events)
    finally:
        sounder.close()


def _following(
    entry: Entry, count: int, unit_s: float, chosen: Preferences
) -> tuple[PlayerEvent, ...]:
    from livecont.book.performance import end_s, links_performed

    links = chain_links(entry, unit_s, count, chosen)
    return links_performed(links, end_s(entry, 0.0, unit_s))


def chain_links(entry: Entry, unit_s: float, count: int, chosen: Preferences) -> Iterator[Link]:
    """Return the first so many links that follow an entry on the instrument chosen."""
    from dataclasses import replace

    from livecont.book.pattern import pattern_of
    from livecont.sequence.chain import Chain

    pattern = replace(pattern_of(entry), unit_s=unit_s)
    return islice(Chain(pattern=pattern, compass=chosen.settings.compass).links(), count)


def _sound(sounder: Sounder, events: Sequence[PlayerEvent]) -> None:
    """Sound events from now on, and wait for their end."""
    from livecont.live.clock import SystemClock
    from livecont.live.messages import TimedMessage
    from livecont.live.report import SounderState
    from livecont.live.virtual_keyboard import message_of

    clock = SystemClock()
    begins_s = clock.now_s() + LEAD_S
    sounder.play(
        [TimedMessage(due_s=begins_s + event.at_s, data=message_of(event)) for event in events]
    )
    ends_s = begins_s + max(event.at_s for event in events) + RING_S
    while clock.now_s() < ends_s:
        clock.sleep_until(min(ends_s, clock.now_s() + 0.2))
        report = sounder.report()
        if report.state is not SounderState.RUNNING:
            from livecont.errors import PortError

            raise PortError(f"{report.trouble}: the entry was not played to its end")


@click.command(epilog="Example: livecont book carry 3 --limit 4 --ending close")
@click.argument("number", type=NUMBER)
@book_option
@output_options
@sitting_options
def carry(number: int, file: Path | None, config: Path | None, **given: Any) -> int:
    """Play an entry into the live engine as if it were just played, and hear it carried on.

    Everything is as in a sitting, but for the keyboard: the links are played by themselves,
    livecont takes over when the next is due, and the sitting ends with the chain. To go on from an
    entry yourself: livecont listen --from-book NUMBER.
    """
    with opened(file) as book:
        entry = book.get(number)
    from livecont.book.performance import performed
    from livecont.commands.book_words import told
    from livecont.commands.sound import opened as sound

    wanted = {option: value for option, value in given.items() if value is not None}
    chosen = preferences(config, {"key": entry.key.name, **wanted})
    output, sounder, trouble = sound(chosen.output_name)
    from livecont.commands.sit import sit

    opening = f"from the book, {told(entry)}" if trouble is None else f"no sound: {trouble}"
    piece = performed(entry, LEAD_S)
    code = sit(chosen, sounder, output, piece=piece, opening=opening, book=file)
    if trouble is not None:
        click.echo(f"it was silent: {trouble}")
    return code
