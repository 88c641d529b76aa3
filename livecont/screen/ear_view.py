"""What can be seen of a lesson or of the ear game at one moment: an immutable value for the screen.

Conventions: texts as they are to be shown, without capitals or full stops; whoever runs the game
fills them in. `big` is a word or two, or a number, to be read from the back of a room.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Turn(StrEnum):
    """Whose turn it is."""

    OURS = "ours"  # livecont sounds
    YOURS = "yours"  # the player is to play or to say something
    TOLD = "told"  # the verdict
    SHOWN = "shown"  # it stands until somebody goes on
    WAITING = "waiting"  # paused, or before the first note
    OVER = "over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """A chord that was due and what was played for it, in names; `fault`: they differ."""

    due: str
    played: str
    fault: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class EarView:
    """A lesson or a game at one moment.

    `title` names the exercise or the lesson, `who` the player; `turn` decides how `big` looks.
    `said` are sentences, the most important first; `beside` shows a due link note by note;
    `rows` are lines with a name, such as a link's notes;
    `choices` are a sign to type and what it stands for. `bar` is how far what sounds has got, 0..1;
    `marks` are the latest verdicts, oldest first, `level` and `top` the difficulty, `number` and
    `of` the question or the step. `typed` is what was typed so far.
    """

    title: str
    who: str
    turn: Turn
    big: str
    said: tuple[str, ...] = ()
    beside: tuple[Beside, ...] = ()
    rows: tuple[tuple[str, str], ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    hints: tuple[tuple[str, str], ...] = ()
    bar: float | None = None
    marks: tuple[bool, ...] = ()
    level: int | None = None
    top: int | None = None
    number: int | None = None
    of: int | None = None
    typed: str | None = None
    message: str | None = None
