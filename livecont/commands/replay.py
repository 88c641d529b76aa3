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
    from livecont.commands.replaying import Outcome


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
@click.option("--jobs", metavar="N", type=click.IntRange(1, 256), help="How many files at once.")
@sitting_options
def replay(
    files: tuple[str, ...],
    list_: str | None,
    report: str | None,
    *,
    links: int,
    jobs: int | None,
    config: Path | None,
    **given: Any,
) -> int:
    """Replay MIDI files as if they were being played.

    The very same engine as when it listens, on a virtual clock: what was understood, when livecont
    would take over, with which notes. Without --report, a line a file says how it went. The README
    explains the report. A take's own track of livecont's notes is left out.
    """
    from livecont.commands.replaying import outcomes_of
    from livecont.errors import ScoreError
    from livecont.replay import Item, read_list

    settings = preferences(config, given).settings
    items = [Item(name=name, path=Path(name)) for name in files]
    items += read_list(Path(list_)) if list_ is not None else ()
    if not items:
        raise ScoreError("nothing to replay: name a MIDI file, or a list with --list")
    failed = 0
    sources = [item.path for item in items] + ([Path(list_)] if list_ is not None else [])
    with _output(report, sources) as out:
        outcomes = outcomes_of(items, settings, links if out is not None else None, jobs)
        for outcome in _shown(outcomes, len(items)):
            if outcome.error is not None:
                if len(items) == 1:
                    raise outcome.error
                click.echo(f"livecont: {outcome.error}", err=True)
                failed += 1
            elif out is None:
                click.echo("\n".join(outcome.lines))
            else:
                out.writelines(f"{line}\n" for line in outcome.lines)
    if failed:
        click.echo(f"livecont: {failed} of {len(items)} files could not be replayed", err=True)
    return ScoreError.exit_code if failed else 0


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


def _shown(outcomes: Iterable[Outcome], total: int) -> Iterable[Outcome]:
    """Show how far a long list has come, where somebody looks on."""
    if total < 5 or not sys.stderr.isatty():
        return outcomes
    from rich.console import Console
    from rich.progress import track

    return track(outcomes, "replaying", total=total, console=Console(stderr=True), transient=True)
