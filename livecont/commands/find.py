"""`livecont find`: every sequence in one piece or many."""

from __future__ import annotations

import contextlib
import csv
import json
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.options import preferences

if TYPE_CHECKING:
    from livecont.score.survey import Request, Survey
    from livecont.sequence.finding_listed import Listed

_BARS = re.compile(r"\s*([^\s-]+)\s*(?:[-\N{EN DASH}]\s*([^\s-]+)\s*)?")
_COLUMNS = (
    "file", "start_bar", "start_beat", "end_bar", "end_beat", "start_q", "end_q", "links",
    "unit_quarters", "unit_beats", "step_degrees", "shift_semitones", "kind", "key", "label",
    "doubt", "parts", "exact", "links_left", "number", "within",
)  # fmt: skip


class Sort(StrEnum):
    """What finds are sorted by; the best of it first."""

    PLACE = "place"
    LENGTH = "length"
    EXACTNESS = "exactness"
    LEFT = "left"


@click.command(epilog="Example: livecont find sonata.mxl --bars 12-40 --sort length")
@click.argument("pieces", nargs=-1, required=True, metavar="PIECE…")
@click.option("--csv", "as_csv", is_flag=True, help="A line a sequence, for a spreadsheet.")
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.option("--bars", metavar="A-B", help="Only what touches these bars, as printed.")
@click.option("--part", metavar="NAME", help="Only one part, by its name or number.")
@click.option("--staff", metavar="N", type=click.IntRange(1, 16), help="Only one staff of a part.")
@click.option(
    "--sort", default=Sort.PLACE.value, metavar="BY", help="place, length, exactness or left."
)
@click.option(
    "--least-links", default=2, show_default=True, metavar="N", type=click.IntRange(2, 100),
    help="The fewest links; 2 takes in exact pairs.",
)  # fmt: skip
@click.option(
    "--least-exact", default=85, show_default=True, metavar="PERCENT",
    type=click.IntRange(50, 100), help="How exact every copy is at least.",
)  # fmt: skip
@click.option("--compass", metavar="NAME", help="The instrument that links left are counted for.")
@click.option("--jobs", metavar="N", type=click.IntRange(1, 256), help="How many at once.")
@click.option(
    "--config", metavar="FILE", type=click.Path(path_type=Path), help="Your configuration file."
)
def find(
    pieces: tuple[str, ...], sort: str, jobs: int | None, config: Path | None, **given: Any
) -> int:
    """List every sequence in pieces: MusicXML, MIDI, Humdrum **kern and MEI files, or folders.

    With bars and beats, unit, step, how exact the copies are, where the chain breaks off, and how
    many links could still follow. Many files are read on all cores.
    """
    from livecont.errors import ConfigError, ScoreError
    from livecont.score.survey import score_files

    if given["as_csv"] and given["as_json"]:
        raise click.UsageError("--csv and --json can't both be")
    order = _sort_by(sort)
    request = _request(given, config)
    answers = _look(score_files(pieces), request, jobs)
    missing = [answer.trouble for answer in answers if answer.missing]
    if missing:
        raise ConfigError(str(missing[0]))
    failed = [answer.trouble for answer in answers if answer.trouble is not None]
    if len(answers) == 1 and failed:
        raise ScoreError(failed[0])
    for trouble in failed:
        click.echo(f"livecont: {trouble}", err=True)
    rows = [(str(answer.path), one) for answer in answers for one in answer.found]
    if order is not Sort.PLACE:
        rows.sort(key=lambda row: _worth(order, row[1]))
    form = "csv" if given["as_csv"] else "json" if given["as_json"] else "table"
    _show(rows, form, many=len(answers) > 1)
    if failed:
        click.echo(f"livecont: {len(failed)} of {len(answers)} files could not be read", err=True)
    return ScoreError.exit_code if failed else 0


def _request(given: dict[str, Any], config: Path | None) -> Request:
    from livecont.score.survey import Request

    return Request(
        compass=preferences(config, {"compass": given["compass"]}).settings.compass,
        least_links=given["least_links"],
        least_exact=given["least_exact"] / 100,
        part=given["part"],
        staff=given["staff"],
        bars=_bars(given["bars"]),
    )


def _sort_by(name: str) -> Sort:
    from livecont.errors import unknown

    try:
        return Sort(name)
    except ValueError as error:
        raise unknown("order", name, [one.value for one in Sort]) from error


def _bars(text: str | None) -> tuple[str, str] | None:
    """Read '12-15' or '12'.

    Raises:
        ConfigError: for what is neither.
    """
    if text is None:
        return None
    from livecont.errors import ConfigError

    match = _BARS.fullmatch(text)
    if match is None:
        raise ConfigError(f"--bars {text}: write for instance 12-15, or 12")
    return match[1], match[2] or match[1]


def _look(paths: Sequence[Path], request: Request, jobs: int | None) -> list[Survey]:
    from livecont.score.survey import survey

    with _progress(len(paths)) as done:
        return survey(paths, request, jobs=jobs, done=done)


@contextlib.contextmanager
def _progress(count: int) -> Iterator[Callable[[], None]]:
    """Show how far it has come, where somebody looks on."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=count)
        yield lambda: bar.advance(task)


def _worth(order: Sort, one: Listed) -> float:
    """What a find is sorted by, the most first."""
    find = one.find
    if order is Sort.LENGTH:
        return -float(find.links * find.unit_q)
    if order is Sort.EXACTNESS:
        return -find.mean_exact
    return -float(find.left)


def _show(rows: Sequence[tuple[str, Listed]], form: str, *, many: bool) -> None:
    from livecont.sequence.finding_listed import as_json

    if form == "json":
        for file, one in rows:
            click.echo(json.dumps(as_json(file, one), ensure_ascii=False))
    elif form == "csv":
        writer = csv.DictWriter(sys.stdout, _COLUMNS, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        for file, one in rows:
            fields = as_json(file, one)
            fields["exact"] = " ".join(map(str, fields["exact"]))
            writer.writerow({name: _harmless(value) for name, value in fields.items()})
    else:
        from livecont.commands.find_table import print_table

        print_table(rows, many=many)


def _harmless(value: object) -> object:
    """Keep a spreadsheet from taking a name from a file for a formula."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@") else value
