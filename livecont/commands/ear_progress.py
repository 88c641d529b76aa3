"""`livecont ear --progress` and `--csv`: how it went so far."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from livecont.book.answers import Answer
    from livecont.ear.progress import Curve

BARS = "▁▂▃▄▅▆▇█"
ASCII_BARS = "_.-=+*%#"
NAME_CELLS = 24


def progress(
    file: Path | None, exercise: str | None, players: tuple[str, ...], csv_file: str | None
) -> int:
    """Print the curves of each player, or write all answers as CSV; return the exit code.

    Raises:
        BookError: the book can't be read.
        ScoreError: the CSV file can't be written.
    """
    from livecont.book.answers import answers
    from livecont.book.answers import players as all_players
    from livecont.commands.book_place import opened

    with opened(file) as book:
        who = players or all_players(book)
        found = [(name, answers(book, name, exercise)) for name in who]
    if csv_file is not None:
        _write(csv_file, [one for _, kept in found for one in kept])
        return 0
    if not any(kept for _, kept in found):
        click.echo("no answers yet: livecont ear begins the first exercise")
    for name, kept in found:
        if kept:
            _print(name, kept)
    return 0


def _write(csv_file: str, kept: list[Answer]) -> None:
    from livecont.book.answers import write_csv
    from livecont.errors import ScoreError

    kept.sort(key=lambda one: one.number or 0)
    if csv_file == "-":
        write_csv(kept, sys.stdout)
        return
    try:
        with Path(csv_file).open("x", encoding="utf-8", newline="") as out:
            write_csv(kept, out)
    except FileExistsError as error:
        raise ScoreError(f"{csv_file} is there already: choose another name") from error
    except OSError as error:
        raise ScoreError(f"{csv_file}: can't be written ({error.strerror})") from error


def _print(name: str, kept: tuple[Answer, ...]) -> None:
    from livecont.config import load_preferences
    from livecont.ear.keeping import known_answer
    from livecont.ear.progress import curves
    from livecont.ear.setup import load_setup

    known = [one for answer in kept if (one := known_answer(answer)) is not None]
    rules = load_setup(load_preferences().settings.compass).rules
    click.echo(f"{name}: {len(known)} answers, {sum(one.right for one in known)} right")
    for kind, found in curves(known, rules).items():
        click.echo(f"  by {kind}")
        for curve in found:
            click.echo(f"    {line_of(curve)}")


def line_of(curve: Curve) -> str:
    """Return a curve in one line: name, share right, the curve, the level where there is one."""
    encoding = getattr(sys.stdout, "encoding", None) or "ascii"
    try:
        BARS.encode(encoding)
        signs = BARS
    except UnicodeEncodeError:
        signs = ASCII_BARS
    drawn = "".join(signs[min(len(signs) - 1, int(point * len(signs)))] for point in curve.points)
    share = f"{100 * curve.right / curve.count:3.0f} %"
    level = f"  level {curve.level}" if curve.level is not None else ""
    return f"{curve.name:{NAME_CELLS}} {share} of {curve.count:4d}  {drawn}{level}"
