"""What a frame costs: `python -m tests.screen.bench`.

Setting the page, and printing it through rich as the stage does; the median of many, in ms, for
ordinary links and for ones of 96 onsets in two parts. A frame of 15 a second has 67 ms; the bound
that the screen has set itself is 5 ms.
"""

from __future__ import annotations

import io
import statistics
import sys
import timeit

from rich.console import Console

from livecont.screen import ScreenNotes, render
from livecont.sitting.snapshot import Phase, Snapshot
from tests.screen.conftest import NOTES, PIANO, STATES, sitting

FRAMES = 200
NAMES = ("C5 A3", "B4", "C5", "E5", "D5 F3", "C5")


def cost_ms(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> tuple[float, float]:
    """Return the median cost of setting a page, and of setting and printing it."""
    console = Console(
        file=io.StringIO(), width=width, height=height, force_terminal=True,
        color_system="truecolor",
    )  # fmt: skip

    def page() -> None:
        render(snapshot, width=width, height=height, notes=notes)

    def printed() -> None:
        console.print(render(snapshot, width=width, height=height, notes=notes), end="")

    both = (timeit.repeat(work, number=1, repeat=FRAMES) for work in (page, printed))
    set_s, printed_s = (statistics.median(times) for times in both)
    return 1e3 * set_s, 1e3 * printed_s


def main() -> None:
    """Print the table."""
    figure = tuple((i / 96, 1 / 96, NAMES[i % len(NAMES)]) for i in range(96))
    long = sitting(figure, "a minor", -1, PIANO, unit_s=9.6)(Phase.SOUNDING, 4, 0.4)
    states = {**STATES, "96-onsets": (long, NOTES)}
    sys.stdout.write(f"{'':28}{'size':>9}{'set ms':>9}{'printed ms':>12}\n")
    for name in (
        "listening-key-estimated",
        "sounding-sixth",
        "sounding-explained",
        "sounding-real",
        "sounding-long-link",
        "96-onsets",
    ):
        for width, height in ((60, 24), (80, 24), (120, 40), (200, 60)):
            set_ms, printed_ms = cost_ms(*states[name], width, height)
            size = f"{width}x{height}"
            sys.stdout.write(f"{name:28}{size:>9}{set_ms:9.2f}{printed_ms:12.2f}\n")


if __name__ == "__main__":
    main()
