"""Difficulty that follows the player: the transformed up-down staircase (Levitt 1971).

So many right answers in a row make it harder, one wrong answer makes it easier. The level then
hovers where a run of that many right answers is as likely as not: where p to the power n is 1/2,
so 70.7 % right with n = 2 and 79.4 % with n = 3 (Levitt 1971, table I). Steps are large until the
level has turned a few times, then small, as is advised there.

Conventions: levels are whole numbers from 1, the easiest. Pure: a staircase is a value, and
answering gives the next one, so that it follows from the answers kept, whenever it is asked for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """How a staircase moves.

    `rights` in a row make it harder; `first_step` levels at a time until it has turned `turns`
    times, then `later_step`.
    """

    rights: int = 2
    first_step: int = 2
    later_step: int = 1
    turns: int = 2
    start: int = 2
    top: int = 12

    @property
    def target(self) -> float:
        """The share of right answers at which the level comes to rest (Levitt 1971)."""
        return float(0.5 ** (1 / self.rights))


@dataclass(frozen=True, slots=True, kw_only=True)
class Staircase:
    """Where a player stands: `run` right answers since the last move, and where it turned."""

    level: int
    run: int = 0
    way: int = 0  # 1: the last move made it harder, -1: easier
    turned: tuple[int, ...] = ()


def begin(rules: Rules) -> Staircase:
    """Return the staircase of a player who has not yet answered."""
    return Staircase(level=rules.start)


def answered(stairs: Staircase, rules: Rules, *, right: bool) -> Staircase:
    """Return the staircase after one more answer.

    >>> rules = Rules(start=5)
    >>> stairs = answered(answered(begin(rules), rules, right=True), rules, right=True)
    >>> stairs.level, answered(stairs, rules, right=False).level
    (7, 5)
    """
    if right and stairs.run + 1 < rules.rights:
        return replace(stairs, run=stairs.run + 1)
    way = 1 if right else -1
    turned = stairs.turned
    if stairs.way and way != stairs.way:
        turned = (*turned, stairs.level)
    step = rules.first_step if len(turned) < rules.turns else rules.later_step
    level = min(rules.top, max(1, stairs.level + way * step))
    return Staircase(level=level, run=0, way=way, turned=turned)


def after(verdicts: Iterable[bool], rules: Rules) -> Staircase:
    """Return the staircase after some answers, oldest first."""
    stairs = begin(rules)
    for right in verdicts:
        stairs = answered(stairs, rules, right=right)
    return stairs
