"""`livecont replay`: recordings through the live engine, as fast as it goes."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import click

from livecont.commands.options import preferences, sitting_options

if TYPE_CHECKING:
    from livecont.replay import Item
    from livecont.sitting.events import Effect, Settings


@click.command(epilog="Example: livecont replay evening.mid --key 'e minor' --report evening.jsonl")
@click.argument("files", nargs=-1, metavar="FILE…")
@click.option("--list", "list_", metavar="LIST.jsonl", help="A file with a recording a line.")
@click.option("--report", metavar="OUT.jsonl", help="Where the report goes; - for the screen.")
@click.option(
    "--links",
    default=1,
    show_default=True,
    metavar="N",
    type=click.IntRange(1, 100),
    help="How many links a take-over's notes show.",
)
@sitting_options
def replay(
    files: tuple[str, ...],
    list_: str | None,
    report: str | None,
    links: int,
    config: Path | None,
    **given: Any,
) -> int:
    """Replay MIDI files as if they were being played.

    The very same engine as when it listens, on a virtual clock: what was understood, when livecont
    would take over, with which notes. Without --report, a line a file says how it went. The README
    explains the report. A take's own track of livecont's notes is left out.
    """
    from livecont.errors import LivecontError, ScoreError
    from livecont.replay import Item, read_list
    from livecont.replay import report as report_lines

    settings = preferences(config, given).settings
    items = [Item(name=name, path=Path(name)) for name in files]
    items += read_list(Path(list_)) if list_ is not None else ()
    if not items:
        raise ScoreError("nothing to replay: name a MIDI file, or a list with --list")
    failed = 0
    sources = [item.path for item in items] + ([Path(list_)] if list_ is not None else [])
    with _output(report, sources) as out:
        for item in _shown(items):
            try:
                chosen, effects = _sit(item, settings)
            except LivecontError as error:
                if len(items) == 1:
                    raise
                click.echo(f"livecont: {error}", err=True)
                failed += 1
                continue
            if out is None:
                click.echo(_summary(item.name, effects, chosen))
            else:
                lines = report_lines(item.name, iter(effects), chosen, links)
                out.writelines(f"{line}\n" for line in lines)
    if failed:
        click.echo(f"livecont: {failed} of {len(items)} files could not be replayed", err=True)
    return ScoreError.exit_code if failed else 0


def _sit(item: Item, settings: Settings) -> tuple[Settings, list[Effect]]:
    from livecont.replay import OWN_TRACK, replay, with_key
    from livecont.score.smf import read_smf

    recording = read_smf(item.path, leave_out=(OWN_TRACK,))
    chosen = with_key(settings, item.key)
    return chosen, list(replay(recording, chosen))


@contextlib.contextmanager
def _output(report: str | None, sources: list[Path]) -> Iterator[IO[str] | None]:
    """Gather the report, - being the standard output; None where there is none.

    It is written at the end, so that what stood there before survives a replay that fails; a file
    that is being read is never written over.
    """
    if report is None or report == "-":
        yield None if report is None else sys.stdout
        return
    from livecont.errors import ConfigError

    if not report.strip():
        raise ConfigError("--report: the name is empty; - is the standard output")
    path = Path(report)
    if any(source.exists() and path.exists() and path.samefile(source) for source in sources):
        raise ConfigError(f"--report {report}: is one of the files to be read; name another")
    lines = io.StringIO()
    try:
        with path.open("a", encoding="utf-8"):
            pass  # what can't be written is known before the work, not after it
        yield lines
        path.write_text(lines.getvalue(), encoding="utf-8")
    except OSError as error:
        raise ConfigError(f"--report {report}: can't be written ({error.strerror})") from error


def _shown(items: list[Item]) -> Iterable[Item]:
    """Show how far a long list has come, where somebody looks on."""
    if len(items) < 5 or not sys.stderr.isatty():
        return items
    from rich.console import Console
    from rich.progress import track

    return track(items, "replaying", console=Console(stderr=True), transient=True)


def _summary(name: str, effects: list[Effect], settings: Settings) -> str:
    """Return one line: the first take-over, or the last pattern, or that there was none."""
    from livecont.screen.wording import step_words
    from livecont.screen.wording_chain import reach_words
    from livecont.sitting.counting import reach_after
    from livecont.sitting.events import Ended, TookOver, Understood
    from livecont.sitting.machine import chain_of

    taken = [effect for effect in effects if isinstance(effect, TookOver)]
    known = [effect for effect in effects if isinstance(effect, Understood)]
    ends = [effect for effect in effects if isinstance(effect, Ended)]
    if not known:
        return f"{name}: no sequence heard"
    pattern = taken[0].pattern if taken else known[-1].pattern
    step = step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)
    said = f"{name}: {step}, {pattern.kind}, in {pattern.key.name}, {pattern.unit_s:.2f} s a link"
    if not taken:
        return f"{said}; not taken over"
    more = f" and {len(taken) - 1} more" if len(taken) > 1 else ""
    said = f"{said}; taken over at {taken[0].start_s:.2f} s{more}"
    reach = reach_after(chain_of(settings, pattern), taken[0].link.number)
    said = f"{said}, with links left: {reach_words(reach, counted=True)}"
    return f"{said}; ended: {ends[-1].reason}" if ends else said
