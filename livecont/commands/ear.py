"""`livecont ear`: call and response at the keyboard."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecont.commands.book_place import book_option, book_path
from livecont.commands.options import input_options, preferences

if TYPE_CHECKING:
    from livecont.config import Preferences
    from livecont.ear.planning import Choices
    from livecont.ear.setup import Setup
    from livecont.music.compass import Compass

EXERCISES = ("answer", "odd-link", "step", "name-it", "how-many")
TEXTURES = ("plain-line", "line", "two-voices", "broken", "chords")
SOURCES = ("made", "model", "book")
WIDEST_TO_COUNT = 61  # keys; on more, the chain is counted on an instrument of so many
SMALL = "piano-ff-f3"


@click.command(epilog="Example: livecont ear step --player Kim --keys 'G major, e minor'")
@click.argument("exercise", required=False, metavar="[EXERCISE]", type=click.Choice(EXERCISES))
@click.option(
    "--player", "players", multiple=True, metavar="NAME", help="Who plays; twice for two."
)
@click.option("--keys", metavar="KEYS", help="Only these keys, with commas between.")
@click.option(
    "--texture", "textures", multiple=True, type=click.Choice(TEXTURES), help="Only this texture."
)
@click.option(
    "--from", "sources", multiple=True, type=click.Choice(SOURCES), help="Only this material."
)
@click.option("--questions", metavar="N", type=click.IntRange(1, 1000), help="To a round.")
@click.option(
    "--tempo", metavar="PERCENT", type=click.IntRange(25, 400), default=100, help="Of its own."
)
@click.option("--any-octave", is_flag=True, help="A right note is right in any octave.")
@click.option("--seed", type=int, help="The same questions in the same order.")
@click.option("--progress", is_flag=True, help="Show how it went so far; nothing is asked.")
@click.option(
    "--csv", "csv_file", metavar="FILE", help="Write all answers for a spreadsheet; - too."
)
@click.option("--compass", metavar="NAME", help="The instrument's keys: modern, controller-61 …")
@click.option("--out", metavar="NAME", help="Part of an output's name, internal or none.")
@input_options
@book_option
@click.option(
    "--config", metavar="FILE", type=click.Path(path_type=Path), help="Your configuration file."
)
def ear(exercise: str | None, file: Path | None, config: Path | None, **given: Any) -> int:
    """Hear, and answer at the keyboard: five exercises, as hard as you can just do them.

    answer: two links sound, play the third. odd-link: press any key when a link breaks the rule.
    step: play the step as two notes. name-it: say what the sequence is called. how-many: say how
    many links are left. Every answer is kept in the book at once; what was missed comes back.
    """
    if given["progress"] or given["csv_file"]:
        from livecont.commands.ear_progress import progress

        return progress(file, exercise, given["players"], given["csv_file"])
    ports = {name: given[name] for name in ("in_", "out", "thru", "compass")}
    chosen = preferences(config, ports)
    from livecont.commands.sound import choose, starting

    output = choose(chosen.output_name, chosen.input_name, listening=True)
    with starting(output) as started:
        try:
            machine_of, keep = _prepared(exercise or EXERCISES[0], file, config, chosen, given)
            from livecont.commands.ear_session import hold
        except BaseException:
            started.result().close()
            raise
    return hold(machine_of, chosen, started.result(), output, keep)


def _prepared(
    exercise: str,
    file: Path | None,
    config: Path | None,
    chosen: Preferences,
    given: dict[str, Any],
) -> tuple[Any, Any]:
    """Return the game and what keeps its answers."""
    import secrets
    from datetime import UTC, datetime
    from functools import partial

    from livecont.book.answers import check_player
    from livecont.book.book import Book
    from livecont.ear.keeping import answered_by, book_matter, keeping
    from livecont.ear.machines import GameMachine
    from livecont.ear.questions import Library
    from livecont.ear.setup import load_setup
    from livecont.ear.state import Session

    path = book_path(file)
    players = given["players"] or ("you",)
    for name in players:
        check_player(name)
    with Book(path) as book:
        answers = answered_by(book, players, exercise)
        entries = book_matter(book) if "book" in (given["sources"] or SOURCES) else {}
    setup = _changed(load_setup(chosen.settings.compass, config), given)
    library = Library(
        levels=setup.levels,
        compass=chosen.settings.compass,
        small=_to_count_on(chosen),
        book=entries,
        tempo=given["tempo"],
    )
    session = Session(
        players=tuple(players),
        choices=_choices(exercise, given, bool(entries)),
        setup=setup,
        library=library,
        seed=secrets.randbits(32) if given["seed"] is None else given["seed"],
    )
    return (
        GameMachine(session=session, answers=answers),
        partial(keeping, path, partial(datetime.now, UTC)),
    )


def _to_count_on(chosen: Preferences) -> Compass:
    compass = chosen.settings.compass
    return compass if len(compass) <= WIDEST_TO_COUNT else chosen.compasses[SMALL]


def _changed(setup: Setup, given: dict[str, Any]) -> Setup:
    from dataclasses import replace

    if given["questions"] is not None:
        setup = replace(setup, pace=replace(setup.pace, questions=given["questions"]))
    return replace(setup, any_octave=True) if given["any_octave"] else setup


def _choices(exercise: str, given: dict[str, Any], has_book: bool) -> Choices:
    from livecont.ear.asked import Exercise, Source
    from livecont.ear.planning import Choices
    from livecont.errors import ConfigError
    from livecont.music.key import parse_key

    names = [name for name in (given["keys"] or "").split(",") if name.strip()]
    sources = tuple(Source(name) for name in given["sources"])
    if sources == (Source.BOOK,) and not has_book:
        raise ConfigError("the book is empty: livecont book add puts sequences in, or leave --from")
    usual = Choices(exercise=Exercise(exercise)).sources
    return Choices(
        exercise=Exercise(exercise),
        keys=tuple(parse_key(name) for name in names),
        textures=given["textures"],
        sources=sources or (usual + (Source.BOOK,) * has_book),
    )
