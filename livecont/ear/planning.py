"""What is asked next: what was missed and is due again, else something new at the player's level.

Conventions: everything follows from the answers kept and the dice, so that a round that was broken
off goes on where it was. Pure.
"""

from __future__ import annotations

import random  # noqa: TID251 -- only typed: dice are handed in, seeded
from collections.abc import Sequence
from dataclasses import dataclass

from livecont.ear.asked import MOST_SEED, Answered, Exercise, Item, Source
from livecont.ear.models import model
from livecont.ear.questions import Library, Question, question
from livecont.ear.returning import due_again
from livecont.ear.setup import Setup
from livecont.ear.staircase import after
from livecont.errors import ConfigError
from livecont.music.key import MOST_FIFTHS, Key, make_key, parse_key
from livecont.music.pitch import LETTERS

TRIES = 60
# a name is asked for only where a bass leaves no doubt
NAMED_TEXTURES = ("two-voices", "broken", "chords")


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the players chose; where `keys` or `textures` are empty, the level decides."""

    exercise: Exercise
    keys: tuple[Key, ...] = ()
    textures: tuple[str, ...] = ()
    sources: tuple[Source, ...] = (Source.MADE, Source.MADE, Source.MODEL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A question to be asked; `again`: it had been missed."""

    question: Question
    again: bool


def next_question(
    answers: Sequence[Answered],
    choices: Choices,
    setup: Setup,
    library: Library,
    dice: random.Random,
) -> Planned:
    """Return what to ask next.

    Args:
        answers: the player's answers to this exercise, oldest first.
        choices: what is to be practised.
        setup: how the staircase moves, when what was missed returns.
        library: what questions are made of.
        dice: what decides.

    Raises:
        ConfigError: nothing fits what was chosen.
    """
    for missed in due_again(answers, setup.gaps):
        known = question(missed, library) if _fits(missed, choices) else None
        if known is not None:
            return Planned(question=known, again=True)
    level = level_of(answers, setup)
    for _ in range(TRIES):
        item = _item(level, choices, library, dice)
        made = question(item, library) if item is not None else None
        if made is not None:
            return Planned(question=made, again=False)
    raise ConfigError(
        f"nothing to ask for {choices.exercise}: choose other keys, textures or material"
    )


def level_of(answers: Sequence[Answered], setup: Setup) -> int:
    """Return the level at which a player stands in an exercise."""
    return after([one.right for one in answers if not one.again], setup.rules).level


def _fits(item: Item, choices: Choices) -> bool:
    """Whether an item is still among what is to be practised."""
    if choices.keys and parse_key(item.key) not in choices.keys:
        return False
    made = item.source is Source.MADE
    return item.source in choices.sources and (
        not made or not choices.textures or item.name in choices.textures
    )


def _item(level: int, choices: Choices, library: Library, dice: random.Random) -> Item | None:
    source = dice.choice(choices.sources)
    level_now = library.level(level)
    if source is Source.MADE:
        textures = choices.textures or level_now.textures
        if choices.exercise is Exercise.NAME_IT:
            textures = tuple(t for t in textures if t in NAMED_TEXTURES) or NAMED_TEXTURES
        name = dice.choice(textures)
        keys = choices.keys or tuple(keys_of(level_now.fifths, minor=level_now.minor))
    else:
        names = library.names(source)
        if not names:
            return None
        name = dice.choice(names)
        own = (model(name) if source is Source.MODEL else library.book[name]).pattern.key
        near = [Key(k.letter, k.alter, own.mode) for k in keys_of(level_now.fifths, minor=own.minor)
                if k.minor == own.minor]  # fmt: skip
        keys = tuple(k for k in choices.keys if k.mode == own.mode) or (
            () if choices.keys else tuple(k for k in near if abs(k.fifths) <= MOST_FIFTHS)
        )
    if not keys:
        return None
    return Item(
        exercise=choices.exercise,
        source=source,
        name=name,
        key=dice.choice(keys).name,
        level=level,
        seed=dice.randrange(MOST_SEED),
    )


def keys_of(fifths: int, *, minor: bool) -> list[Key]:
    """Return the major keys, and the minor ones, of at most so many sharps or flats."""
    found = []
    for mode in ("major", "minor") if minor else ("major",):
        for letter in range(len(LETTERS)):
            for alter in (-1, 0, 1):
                key = Key(letter, alter, mode)
                if abs(key.fifths) <= fifths:
                    found.append(make_key(letter, alter, mode))
    return found
