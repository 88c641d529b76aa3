"""What was asked and how it was answered, as values that can be kept and asked again.

Conventions: an `Item` holds all that is needed to make the very same question again: the exercise,
the material by name, the key, the level, and the seed of whatever was drawn by lot. Items and
answers become JSON objects and come back from them; what comes back is checked, for a book may
have been made by another version or by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

MOST_SEED = 2**32


class Exercise(StrEnum):
    """The exercises."""

    ANSWER = "answer"  # play the third link
    ODD_LINK = "odd-link"  # say when a link breaks the rule
    STEP = "step"  # play the step as two notes
    NAME_IT = "name-it"  # name the sequence
    HOW_MANY = "how-many"  # how many links are left


class Source(StrEnum):
    """Where the material of a question comes from."""

    MADE = "made"  # by the engine, by lot, in style
    MODEL = "model"  # our own models
    BOOK = "book"  # the player's book


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """What is asked. `name` is the texture of what is made, the model's name, the book's number."""

    exercise: Exercise
    source: Source
    name: str
    key: str
    level: int
    seed: int

    def json(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """An answer.

    `again`: the item was one that had been missed before, and does not move the staircase.
    `step_degrees` and `texture` are the material's, for the curves; `detail` says how it was
    answered, as a JSON object.
    """

    player: str
    item: Item
    right: bool
    again: bool
    step_degrees: int
    texture: str
    detail: Mapping[str, Any]

    def kept_detail(self) -> dict[str, Any]:
        """Return all that is kept beside item and verdict, as one JSON object."""
        more = {"again": self.again, "step": self.step_degrees, "texture": self.texture}
        return {**more, **self.detail}


def item_of(kept: Mapping[str, Any]) -> Item | None:
    """Return an item that was kept; None where this version can't ask it.

    >>> item = Item(exercise=Exercise.STEP, source=Source.MADE, name="line", key="C major",
    ...             level=3, seed=7)
    >>> item_of(item.json()) == item, item_of({"exercise": "dance"})
    (True, None)
    """
    try:
        item = Item(
            exercise=Exercise(kept["exercise"]),
            source=Source(kept["source"]),
            name=str(kept["name"]),
            key=str(kept["key"]),
            level=int(kept["level"]),
            seed=int(kept["seed"]),
        )
    except (KeyError, TypeError, ValueError):
        return None
    return item if item.level >= 1 and 0 <= item.seed < MOST_SEED else None


def answered_of(
    player: str, kept: Mapping[str, Any], detail: Mapping[str, Any], *, right: bool
) -> Answered | None:
    """Return an answer that was kept; None where it is of no exercise of this version."""
    item = item_of(kept)
    step = detail.get("step", 0)
    if item is None or not isinstance(step, int):
        return None
    return Answered(
        player=player,
        item=item,
        right=right,
        again=bool(detail.get("again", False)),
        step_degrees=step,
        texture=str(detail.get("texture", "")),
        detail=detail,
    )
