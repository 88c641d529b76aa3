"""Options that several commands share, and the preferences that come of them.

Conventions: an option's name is that of its line in the configuration file; None means that it
was not given, so that the file or our defaults decide.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from livecont.config import Preferences

Command = Callable[..., Any]

_SITTING = (
    click.option("--key", metavar="KEY", help="The key, such as 'e minor', or auto."),
    click.option("--start", metavar="WHEN", help="at-once, on-pause or on-cue."),
    click.option("--limit", metavar="HOW-FAR", help="compass, clear, or a number of links."),
    click.option("--ending", metavar="HOW", help="stop, fold, turn or close."),
    click.option("--sound", metavar="WHAT", help="full, or reduction: the main notes only."),
    click.option(
        "--compass", metavar="NAME", help="The instrument's keys: modern, italian-short …"
    ),
    click.option(
        "--instrument", metavar="NAME", help="Whose sound has to be clear: modern-piano …"
    ),
    click.option(
        "--surprise", metavar="CHANCE", type=float, help="Of a link to break the pattern, 0 to 1."
    ),
)
_OUTPUT = (
    click.option("--out", metavar="NAME", help="Part of an output's name, internal or none."),
    click.option("--take-folder", metavar="FOLDER", help="Where the recording is kept."),
)
_INPUT = (
    click.option("--in", "in_", metavar="NAME", help="Part of an input's name."),
    click.option("--thru/--no-thru", default=None, help="Pass your own notes on, or not."),
)
_CONFIG = click.option(
    "--config", metavar="FILE", type=click.Path(path_type=Path), help="Your configuration file."
)


def sitting_options(command: Command) -> Command:
    """Add what is chosen for every sitting, real or virtual."""
    return _with(_SITTING, _CONFIG(command))


def output_options(command: Command) -> Command:
    """Add where the sound and the take go."""
    return _with(_OUTPUT, command)


def input_options(command: Command) -> Command:
    """Add which keyboard is heard."""
    return _with(_INPUT, command)


def _with(options: tuple[Callable[[Command], Command], ...], command: Command) -> Command:
    for option in reversed(options):
        command = option(command)
    return command


def preferences(config: Path | None, given: dict[str, Any]) -> Preferences:
    """Return the preferences for the options given, as click names them.

    Raises:
        ConfigError: for an option or a line of the file that can't be used.
    """
    from livecont.config import load_preferences

    options = {
        name.rstrip("_").replace("_", "-"): value
        for name, value in given.items()
        if value is not None
    }
    return load_preferences(config, options)
