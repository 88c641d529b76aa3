"""`livecont lesson`: a teacher demonstrates, a student answers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import bars_named, book_option, book_path, key_named
from livecont.commands.options import input_options, preferences

if TYPE_CHECKING:
    from livecont.config import Preferences
    from livecont.ear.matter import Matter
    from livecont.ear.plan import Plan

FIRST = "falling-fifths"
_SOURCES = ("model", "entry", "piece", "played")


@click.command(epilog="Example: livecont lesson falling-fifths --key 'e minor' --entry 3")
@click.argument("plan", required=False, metavar="[PLAN]")
@click.option("--list", "list_", is_flag=True, help="Say which lessons and models there are.")
@click.option("--model", metavar="NAME", help="About a model of ours.")
@click.option("--entry", metavar="N", type=click.IntRange(1), help="About an entry of the book.")
@click.option("--piece", metavar="FILE", help="About a take, or a passage of a score.")
@click.option("--bars", metavar="A-B", help="Where in the score, as printed.")
@click.option("--played", is_flag=True, help="About two links that you play first.")
@click.option("--key", metavar="KEY", help="Moved to this key; with --played, its key.")
@click.option("--player", metavar="NAME", default="you", help="Who answers.")
@click.option("--any-octave", is_flag=True, help="A right note is right in any octave.")
@click.option("--compass", metavar="NAME", help="The instrument's keys: modern, controller-61 …")
@click.option("--out", metavar="NAME", help="Part of an output's name, internal or none.")
@input_options
@book_option
@click.option(
    "--config", metavar="FILE", type=click.Path(path_type=Path), help="Your configuration file."
)
def lesson(plan: str | None, file: Path | None, config: Path | None, **given: Any) -> int:
    """Show a sequence step by step: model, step, main notes, label, chain, cadence, other keys.

    PLAN is the name of a lesson of ours, or a file of yours. The teacher goes on with any pedal,
    the lowest key of the compass or the space bar; the highest key or a shows a step again.
    """
    if given["list_"]:
        return _list()
    if sum(given[name] not in (None, False) for name in _SOURCES) > 1:
        raise click.UsageError("a lesson is about one of --model, --entry, --piece, --played")
    ports = {name: given[name] for name in ("in_", "out", "thru", "compass")}
    chosen = preferences(config, ports)
    from livecont.commands.sound import choose, starting
    from livecont.ear.plan import load_plan

    read = load_plan(plan or FIRST)
    output = choose(chosen.output_name, chosen.input_name, listening=True)
    with starting(output) as started:
        try:
            machine, keep = _prepared(read, file, config, chosen, given)
            from livecont.commands.ear_session import hold
        except BaseException:
            started.result().close()
            raise
    return hold(machine, chosen, started.result(), output, keep)


def _list() -> int:
    from livecont.ear.models import model, model_names
    from livecont.ear.plan import load_plan, plan_names

    for name in plan_names():
        click.echo(f"lesson {name:24} {load_plan(name).title}")
    for name in model_names():
        found = model(name)
        click.echo(f"model  {name:24} {found.title} ({found.pattern.key.name})")
    return 0


def _prepared(
    plan: Plan, file: Path | None, config: Path | None, chosen: Preferences, given: dict[str, Any]
) -> tuple[Any, Any]:
    """Return the lesson and what keeps its answers."""
    from dataclasses import replace
    from datetime import UTC, datetime
    from functools import partial

    from livecont.book.answers import check_player
    from livecont.ear.keeping import keeping
    from livecont.ear.lesson_state import Teaching
    from livecont.ear.machines import LessonMachine
    from livecont.ear.setup import load_setup

    check_player(given["player"])
    compass = chosen.settings.compass
    setup = load_setup(compass, config)
    name = given["model"] or plan.model
    other = given["entry"] is not None or given["piece"] is not None or given["played"]
    matter = (
        None if given["played"] else _in_its_key(_matter(name, file, chosen, given), plan, given)
    )
    teaching = Teaching(
        plan=plan,
        matter=matter,
        source=name or "",
        of_a_model=not other,
        player=given["player"],
        setup=replace(setup, any_octave=True) if given["any_octave"] else setup,
        compass=compass,
        key=key_named(given["key"]),
    )
    keep = partial(keeping, book_path(file), partial(datetime.now, UTC))
    return LessonMachine(teaching=teaching), keep


def _in_its_key(matter: Matter, plan: Plan, given: dict[str, Any]) -> Matter:
    """Return the matter in the key that was asked for.

    Raises:
        ConfigError: that key has another mode.
    """
    from dataclasses import replace

    from livecont.ear.matter import in_key
    from livecont.errors import ConfigError

    key = key_named(given["key"]) or (plan.key if given["model"] is None else None)
    if key is None or given["piece"] is not None:
        return matter
    if key.mode != matter.pattern.key.mode:
        if given["key"] is None:
            return matter  # the plan's key is for its own model
        raise ConfigError(
            f"--key {key.name}: {matter.title!r} is in {matter.pattern.key.name}: name a "
            f"{matter.pattern.key.mode} key"
        )
    return replace(matter, pattern=in_key(matter.pattern, key))


def _matter(
    name: str | None, file: Path | None, chosen: Preferences, given: dict[str, Any]
) -> Matter:
    from livecont.ear.models import model
    from livecont.errors import ConfigError

    if given["entry"] is not None:
        from livecont.book.book import Book
        from livecont.ear.keeping import matter_of_entry

        with Book(book_path(file)) as book:
            return matter_of_entry(book.get(given["entry"]))
    if given["piece"] is not None:
        return _of_piece(Path(given["piece"]), chosen, given)
    if name is None:
        raise ConfigError("this lesson names no model: say --model, --entry, --piece or --played")
    return model(name)


def _of_piece(path: Path, chosen: Preferences, given: dict[str, Any]) -> Matter:
    from datetime import UTC, datetime

    from livecont.commands.waiting import waiting
    from livecont.ear.keeping import matter_of_entry
    from livecont.ear.matter import Matter, as_two_links, sure_label, texture_of
    from livecont.gathering import Passage, entries_found, heard_in, is_recording

    if is_recording(path) and given["bars"] is None:
        pattern = as_two_links(heard_in(path, chosen.settings, key_named(given["key"]))[-1])
        return Matter(
            title=path.stem,
            texture=texture_of(pattern),
            pattern=pattern,
            label=sure_label(pattern),
        )
    with waiting(f"reading {path.name}"):
        passage = Passage(bars=bars_named(given["bars"]))
        found = entries_found(path, passage, chosen.settings, datetime.now(UTC))
    return matter_of_entry(found[0])
