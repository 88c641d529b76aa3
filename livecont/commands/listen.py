"""`livecont listen`: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from livecont.commands.options import input_options, output_options, preferences, sitting_options


@click.command(epilog="Example: livecont listen --key 'e minor' --compass italian-short")
@input_options
@output_options
@sitting_options
def listen(config: Path | None, **given: Any) -> int:
    """Listen to a MIDI keyboard, and carry on what is played.

    Play two links of a sequence: livecont plays the third when it is due, and the next, until you
    play on, until the limit, or until the keys run out. The keyboard and the output are chosen by
    themselves where that is clear; see livecont ports. Quit with q or Ctrl-C; the take is kept.
    """
    chosen = preferences(config, given)
    from livecont.commands.sound import choose, starting

    output = choose(chosen.output_name, chosen.input_name, listening=True)
    with starting(output) as started:
        from livecont.commands.sit import sit
    return sit(chosen, started.result(), output)
