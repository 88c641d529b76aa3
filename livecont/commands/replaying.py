"""Recordings replayed one by one or several at once, and what is told of each.

Conventions: several at once are in processes of their own, started by spawn; what comes of it is
the same, in the same order.
"""

from __future__ import annotations

import functools
import multiprocessing
import os
import signal
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from livecont.errors import LivecontError, ScoreError
from livecont.replay import OWN_TRACK, Item, replay, report, with_key
from livecont.score.confined import bare_main
from livecont.score.smf import read_smf
from livecont.screen.wording import step_words
from livecont.screen.wording_chain import reach_words
from livecont.sitting.carrying import chain_of
from livecont.sitting.counting import reach_after
from livecont.sitting.events import Effect, Ended, Settings, TookOver, Understood

# fewer files are done before the processes have started
WORTH_PROCESSES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What is told of a file, or why it could not be replayed."""

    lines: tuple[str, ...] = ()
    error: LivecontError | None = None


def outcomes_of(
    items: list[Item], settings: Settings, links: int | None, jobs: int | None = None
) -> Iterator[Outcome]:
    """Yield what comes of each file, in their order.

    Args:
        items: the files.
        settings: of the sitting; an item's own key wins.
        links: how many links the report shows of a take-over; None for a line that sums up.
        jobs: how many at once; None for one a core.
    """
    work = functools.partial(outcome_of, settings=settings, links=links)
    count = min(len(items), jobs or os.cpu_count() or 1)
    if count < 2 or len(items) < WORTH_PROCESSES:
        yield from map(work, items)
        return
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(count, context, initializer=_quietly)
    try:
        with bare_main():
            futures = [pool.submit(work, item) for item in items]
        for future in futures:
            yield future.result()
    finally:
        pool.shutdown(cancel_futures=True)


def _quietly() -> None:
    """Leave Ctrl-C to the parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def outcome_of(item: Item, settings: Settings, links: int | None) -> Outcome:
    """Replay a file and return what is told of it; for the arguments see `outcomes_of`."""
    try:
        recording = read_smf(item.path, leave_out=(OWN_TRACK,))
    except LivecontError as error:
        return Outcome(error=ScoreError(str(error)))  # which can be handed to another process
    chosen = with_key(settings, item.key)
    effects = list(replay(recording, chosen))
    if links is None:
        return Outcome(lines=(summary(item.name, effects, chosen),))
    return Outcome(lines=tuple(report(item.name, iter(effects), chosen, links)))


def summary(name: str, effects: list[Effect], settings: Settings) -> str:
    """Return one line: the first take-over, or the last pattern, or that there was none."""
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
