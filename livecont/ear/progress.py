"""How it went so far: curves by exercise, step, key and texture, from the answers kept.

Conventions: shares of right answers, 0..1; a point of a curve is the mean of the answers just
before it, oldest first. Pure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from livecont.ear.asked import Answered
from livecont.ear.staircase import Rules, after
from livecont.screen.wording import step_words
from livecont.sequence.pattern import Kind

MOST_POINTS = 24
RECENT = 8  # answers that a point of a curve is the mean of


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Some answers of one kind: how many, how many right, and the share right as time goes on."""

    name: str
    count: int
    right: int
    points: tuple[float, ...]
    level: int | None = None


def curves(answers: Sequence[Answered], rules: Rules) -> dict[str, tuple[Curve, ...]]:
    """Return the curves by what they are sorted by: exercise, step, key, texture.

    Answers oldest first, of one player.
    """
    return {
        "exercise": tuple(
            _with_level(curve, answers, rules) for curve in _by(answers, lambda a: a.item.exercise)
        ),
        "step": _by(answers, lambda a: step_words(a.step_degrees, None, Kind.TONAL)),
        "key": _by(answers, lambda a: a.item.key),
        "texture": _by(answers, lambda a: a.texture),
    }


def _by(answers: Sequence[Answered], name_of: Callable[[Answered], str]) -> tuple[Curve, ...]:
    groups: dict[str, list[bool]] = {}
    for one in answers:
        groups.setdefault(str(name_of(one)), []).append(one.right)
    return tuple(
        Curve(name=name, count=len(group), right=sum(group), points=points(group))
        for name, group in sorted(groups.items(), key=lambda item: (-len(item[1]), item[0]))
    )


def _with_level(curve: Curve, answers: Sequence[Answered], rules: Rules) -> Curve:
    mine = [a.right for a in answers if a.item.exercise == curve.name and not a.again]
    return Curve(
        name=curve.name,
        count=curve.count,
        right=curve.right,
        points=curve.points,
        level=after(mine, rules).level,
    )


def points(verdicts: Sequence[bool], most: int = MOST_POINTS) -> tuple[float, ...]:
    """Return the share right among the latest answers, at up to `most` moments, oldest first.

    >>> points([False, False, True, True], most=2)
    (0.0, 0.5)
    """
    count = min(most, len(verdicts))
    ends = [round((i + 1) * len(verdicts) / count) for i in range(count)]
    recent = [verdicts[max(0, end - RECENT) : end] for end in ends]
    return tuple(sum(some) / len(some) for some in recent)
