"""How many links are left by the step: those the ear can follow, and those with keys. Pure.

Whatever the player's limit and ending, the chain could go on so far; the screen shows both counts.
They are found a link at a time, in spare moments, as the coming links are.

Conventions: links are numbered from 1, the model. Clarity as in `music.clarity`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from livecont.sequence.chain import Chain
from livecont.sequence.endings_clarity import Reach, clarity_of, falls_short
from livecont.sequence.pattern import Link


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """What has been counted of a chain by its step.

    `last` is the number of the last link with keys so far, `first_muddy` that of the first beyond
    the clear limit; `clarity` is that of link `last`. `rest` yields the links still to be counted,
    None when all are.
    """

    last: int
    first_muddy: int | None
    clarity: float | None
    rest: Iterator[Link] | None

    def after(self, number: int) -> Reach | None:
        """Return how many links are left after one; None while they are being counted."""
        return None if self.rest is not None else self.so_far(number)

    def so_far(self, number: int) -> Reach:
        """Return how many links after one have been counted."""
        clear_until = self.last if self.first_muddy is None else self.first_muddy - 1
        return Reach(clear=max(0, clear_until - number), compass=max(0, self.last - number))


def count_of(chain: Chain) -> Count:
    """Return the count as it begins: nothing counted yet after the last link heard."""
    return Count(last=chain.course.last_heard, first_muddy=None, clarity=None, rest=_counted(chain))


def reach_after(chain: Chain, number: int) -> Reach:
    """Return how many links are left by the step after one, all counted at once."""
    count = count_of(chain)
    while count.rest is not None:
        count = count_on(count)
    return count.so_far(number)


def _counted(chain: Chain) -> Iterator[Link]:
    """Yield the last link heard, then those that follow it by the step."""
    last = chain.course.last_heard
    if chain.spectrum is not None:
        heard = chain.course.sounding(chain.course.near(last), last)
        yield replace(heard, clarity=clarity_of(heard, chain.spectrum))
    yield from chain.plain()


def count_on(count: Count) -> Count:
    """Count one link more."""
    link = None if count.rest is None else next(count.rest, None)
    if link is None:
        return replace(count, rest=None)
    if link.number == count.last:  # the last one heard: what follows is held against it
        return replace(count, clarity=link.clarity)
    muddy = count.first_muddy
    if muddy is None and falls_short(link.clarity, count.clarity):
        muddy = link.number
    return replace(count, last=link.number, first_muddy=muddy, clarity=link.clarity)
