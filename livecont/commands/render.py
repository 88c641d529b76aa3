"""`livecont render`: a sound file of a take, a piece, an entry of the book, a reduction."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import bars_named, book_option, opened
from livecont.commands.options import preferences
from livecont.commands.sound_file import sound_options, write_sound
from livecont.commands.waiting import waiting

if TYPE_CHECKING:
    from livecont.book.entry import Entry
    from livecont.music.score import Score
    from livecont.sequence.events import PlayerEvent
    from livecont.sitting.events import Settings

SUFFIX = ".wav"
_FILE = click.Path(path_type=Path)


@click.command(epilog="Example: livecont render evening.mid --a4 415 --temperament vallotti")
@click.argument("source", required=False, metavar="[FILE]", type=_FILE)
@click.option("--entry", metavar="N", type=click.IntRange(1), help="An entry of the book instead.")
@click.option("--bars", metavar="A-B", help="Only these bars of a score, as printed.")
@click.option("--only", metavar="WHOSE", help="Of a take: player, or livecont.")
@click.option(
    "--links", metavar="N", type=click.IntRange(1, 128), help="Carry the sequence on by so many."
)
@click.option("--ending", metavar="HOW", help="After these: stop, fold, turn or close.")
@click.option("--reduction", is_flag=True, help="Only the main notes of the sequence.")
@click.option(
    "--tempo", metavar="PERCENT", type=click.IntRange(10, 400), default=100, help="Of its own."
)
@sound_options
@click.option("--wav", metavar="FILE", type=_FILE, help="Where to; else named like the source.")
@click.option("--force", is_flag=True, help="Write over what is there.")
@click.option("--temperaments", is_flag=True, help="Say which temperaments there are.")
@book_option
@click.option("--config", metavar="FILE", type=_FILE, help="Your configuration file.")
def render(source: Path | None, file: Path | None, config: Path | None, **given: Any) -> None:
    """Make a sound file (WAV): our own strings, at any pitch, in a temperament of the time.

    FILE is a take or another MIDI file, or a score. With --links or --reduction, the sequence in
    it (in the --bars) is taken, carried on, or reduced to its main notes. The same input gives the
    same file, to the last byte; its loudest moment is 1 dB below full scale.
    """
    if given["temperaments"]:
        _list_temperaments()
        return
    if (source is None) == (given["entry"] is None):
        raise click.UsageError("name a file, or an --entry of the book")
    if given["ending"] is not None and given["links"] is None:
        raise click.UsageError("--ending comes after --links N")
    settings = preferences(config, {"ending": given["ending"]}).settings
    events = _events(source, file, given, settings)
    path = given["wav"] or _named(source, given["entry"])
    length_s = write_sound(path, events, given, force=given["force"])
    minutes, seconds = divmod(length_s, 60)
    click.echo(f"{path}: {int(minutes)}:{seconds:04.1f}")


def _events(
    source: Path | None, file: Path | None, given: dict[str, Any], settings: Settings
) -> tuple[PlayerEvent, ...]:
    from livecont.gathering import is_recording

    tempo = given["tempo"] / 100
    if source is None:
        with opened(file) as book:
            return _of_entry(book.get(given["entry"]), given, settings, tempo)
    if given["links"] is not None or given["reduction"]:
        return _of_entry(_sequence_in(source, given, settings), given, settings, tempo)
    if is_recording(source) and given["bars"] is None:
        from livecont.errors import unknown
        from livecont.hearable import recorded

        if given["only"] not in (None, "player", "livecont"):
            raise unknown("track", given["only"], ("player", "livecont"))
        return recorded(source, only=given["only"], tempo=tempo)
    if given["only"] is not None:
        raise click.UsageError("--only is for takes")
    return _of_score(source, bars_named(given["bars"]), tempo)


def _of_entry(
    entry: Entry, given: dict[str, Any], settings: Settings, tempo: float
) -> tuple[PlayerEvent, ...]:
    from livecont.hearable import carried_on, main_notes

    links = given["links"] or 0
    if given["reduction"]:
        return main_notes(entry, links, tempo)
    return carried_on(entry, settings, links, tempo)


def _sequence_in(source: Path, given: dict[str, Any], settings: Settings) -> Entry:
    """Return the one sequence that is meant: heard in a recording, or found in the bars."""
    from datetime import UTC, datetime

    from livecont.errors import ScoreError
    from livecont.gathering import Passage, entries_found, entry_heard, heard_in, is_recording

    now = datetime.now(UTC)
    if is_recording(source) and given["bars"] is None:
        return entry_heard(heard_in(source, settings)[-1], source.name, now)
    with waiting(f"reading {source.name}"):
        found = entries_found(source, Passage(bars=bars_named(given["bars"])), settings, now)
    if len(found) > 1:
        bars = ", ".join(entry.bars for entry in found[:12])
        raise ScoreError(f"{source}: {len(found)} sequences in it, in bars {bars}: choose --bars")
    return found[0]


def _of_score(source: Path, bars: tuple[str, str] | None, tempo: float) -> tuple[PlayerEvent, ...]:
    from livecont.errors import ScoreError
    from livecont.hearable import written
    from livecont.score.confined import confined
    from livecont.score.reading import read_score

    with waiting(f"reading {source.name}"):
        score: Score = confined(read_score, source)
    try:
        return written(score, None if bars is None else score.bars_span(*bars), tempo)
    except ScoreError as error:
        raise ScoreError(f"{source}: {error}") from error


def _named(source: Path | None, entry: int | None) -> Path:
    """Return the name that a file gets where none was given: in the current folder."""
    return Path(f"entry-{entry}{SUFFIX}" if source is None else source.stem + SUFFIX)


def _list_temperaments() -> None:
    from livecont.tuning import load_temperaments

    for name, one in load_temperaments().items():
        click.echo(f"{name:17} {one.title}")
