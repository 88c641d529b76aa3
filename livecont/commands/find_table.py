"""The table of finds, for people.

Conventions: places are bar:beat, beats in what the metre's lower number names, the first left out,
as is the last link's end where it is the bar's; a find that lies in a longer one, or is its inner
pattern, is told with that and has no row of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table

from livecont.music.score import Place
from livecont.screen.wording import step_words
from livecont.sequence.finding import Find, Off
from livecont.sequence.finding_listed import Listed

_OFF = {
    Off.VARIED: "goes on, varied",
    Off.LEFT: "left at",
    Off.OTHER: "other music",
    Off.END: "the end",
}
_THIRDS = {Fraction(1, 3): "⅓", Fraction(2, 3): "⅔"}
WIDE = 200  # where the output is no terminal, rows are not broken


def print_table(rows: Sequence[tuple[str, Listed]], *, many: bool) -> None:
    """Print finds as a table."""
    top = [(file, one) for file, one in rows if one.find.within is None]
    if not top:
        click.echo("no sequence found")
        return
    console = Console()
    if not console.is_terminal:
        console = Console(width=WIDE)
    console.print(_table(_short(top), many))
    inner = len(rows) - len(top)
    told = f"{len(top)} sequence{'' if len(top) == 1 else 's'}"
    if inner:
        told += f", and {inner} inside them (all with --json)"
    click.echo(told)


def _short(rows: Sequence[tuple[str, Listed]]) -> list[tuple[str, Listed]]:
    """Leave out of the files' names the folders that all of them lie in."""
    parts = [Path(file).parts for file in {file for file, _ in rows}]
    shared = 0
    while all(len(names) > shared + 1 for names in parts) and (
        len({names[shared] for names in parts}) == 1
    ):
        shared += 1
    return [(str(Path(*Path(file).parts[shared:])), one) for file, one in rows]


def _table(rows: Sequence[tuple[str, Listed]], many: bool) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    if many:
        table.add_column("file", overflow="fold")
    for name in ("bars", "links", "unit", "step", "kind", "label", "parts"):
        table.add_column(name, justify="right" if name == "links" else "left")
    table.add_column("exact", justify="right")
    table.add_column("breaks off")
    table.add_column("left", justify="right")
    table.add_column("inside")
    for file, one in rows:
        cells = _cells(one)
        table.add_row(*([file] if many else []), *cells)
    return table


def _cells(one: Listed) -> list[str]:
    find = one.find
    return [
        _bars(one),
        str(find.links),
        _unit(one),
        step_words(find.step_degrees, find.shift_semitones, find.kind),
        find.kind.value,
        _label(find),
        one.parts,
        _exact(find),
        f"{_OFF[find.break_off.how]} {_place(one.off)}",
        str(find.left),
        ", ".join(_inside(inner) for inner in one.inside),
    ]


def _bars(one: Listed) -> str:
    """Return where it lies: '5-8', '16:2.5-19:2'."""
    start = _place(one.start)
    at_bar_end = one.end.beat - 1 == one.last_bar_beats
    end = one.end.bar if at_bar_end else f"{one.end.bar}:{number(one.end.beat)}"
    return start if start == end else f"{start}-{end}"


def _place(place: Place) -> str:
    return place.bar if place.beat == 1 else f"{place.bar}:{number(place.beat)}"


def number(value: Fraction) -> str:
    """Return a number of beats, exact and short: 2, 2.5, 2⅓.

    >>> number(Fraction(7, 3)), number(Fraction(5, 2)), number(Fraction(17, 7))
    ('2⅓', '2.5', '2.43')
    """
    whole, rest = divmod(value, 1)
    if rest in _THIRDS:
        return f"{whole or ''}{_THIRDS[rest]}"
    return f"{float(value):.4g}" if value * 16 % 1 == 0 else f"{float(value):.2f}"


def _unit(one: Listed) -> str:
    bars = one.find.unit_q / one.bar_q
    if bars.denominator == 1:
        return f"{bars} bar{'' if bars == 1 else 's'}"
    return f"{number(one.unit_beats)} beat{'' if one.unit_beats == 1 else 's'}"


def _label(find: Find) -> str:
    """Return the label, with a question mark where it is not sure."""
    return "" if find.label is None else find.label + (" ?" if find.doubt else "")


def _exact(find: Find) -> str:
    least, most = (round(100 * value) for value in (min(find.exact), max(find.exact)))
    return f"{least} %" if least == most else f"{least}-{most} %"


def _inside(inner: Find) -> str:
    step = step_words(inner.step_degrees, inner.shift_semitones, inner.kind)
    return f"{inner.links} x {number(inner.unit_q)} q, {step}"
