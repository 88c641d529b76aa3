"""What is asked next: at the player's level, of what he chose, and what was missed."""

from __future__ import annotations

import random  # noqa: TID251 -- seeded
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.ear.asked import Answered, Exercise, Item, Source
from livecont.ear.models import model
from livecont.ear.planning import NAMED_TEXTURES, Choices, keys_of, next_question
from livecont.ear.setup import Setup
from livecont.errors import ConfigError
from livecont.music.key import Key, parse_key
from tests.ear.gaming import session

SESSION = session(Exercise.STEP)
SETUP, LIBRARY = SESSION.setup, SESSION.library
G_MAJOR, E_MINOR = parse_key("G major"), parse_key("e minor")
EVERYTHING = (Source.MADE, Source.MODEL, Source.BOOK)


def at_level(level: int) -> Setup:
    return replace(SETUP, rules=replace(SETUP.rules, start=level))


def missed(key: str, seed: int = 5, right: bool = False) -> Answered:
    item = Item(
        exercise=Exercise.STEP, source=Source.MADE, name="line", key=key, level=3, seed=seed
    )
    return Answered(
        player="one",
        item=item,
        right=right,
        again=False,
        step_degrees=-1,
        texture="line",
        detail={},
    )


@settings(max_examples=60)
@given(
    st.sampled_from(list(Exercise)),
    st.sampled_from([(G_MAJOR,), (E_MINOR,), (G_MAJOR, E_MINOR)]),
    st.sampled_from([(Source.MADE,), (Source.MODEL,), EVERYTHING]),
    st.integers(1, 12),
    st.integers(0, 10**6),
)
def test_only_what_was_chosen_is_asked(
    exercise: Exercise, keys: tuple[Key, ...], sources: tuple[Source, ...], level: int, seed: int
) -> None:
    library = replace(LIBRARY, book={"1": model("thirds-down"), "2": model("lament")})
    choices = Choices(exercise=exercise, keys=keys, sources=sources)
    try:
        planned = next_question((), choices, at_level(level), library, random.Random(seed))
    except ConfigError:
        assert sources == (Source.MODEL,)  # of our few models none may fit
        return
    item = planned.question.item
    assert parse_key(item.key) in keys
    assert planned.question.matter.pattern.key in keys
    assert item.source in sources
    assert item.level == level


@pytest.mark.parametrize("level", range(1, 13))
def test_a_level_decides_keys_and_textures_where_nothing_was_chosen(level: int) -> None:
    made = SETUP.levels[level - 1]
    for exercise in (Exercise.STEP, Exercise.NAME_IT):
        choices = Choices(exercise=exercise, sources=(Source.MADE,))
        planned = next_question((), choices, at_level(level), LIBRARY, random.Random(level))
        item = planned.question.item
        key = parse_key(item.key)
        assert abs(key.fifths) <= made.fifths
        assert made.minor or not key.minor
        named = exercise is Exercise.NAME_IT
        assert item.name in (NAMED_TEXTURES if named else made.textures)


def test_what_was_missed_is_asked_again_where_it_is_among_what_was_chosen() -> None:
    # the first that was missed is in another key: it is not in the way of the second
    answers = [
        missed("C major"),
        missed("G major", 6),
        *[missed("D major", n, True) for n in range(9)],
    ]
    choices = Choices(exercise=Exercise.STEP, keys=(G_MAJOR,), sources=(Source.MADE,))
    planned = next_question(answers, choices, SETUP, LIBRARY, random.Random(1))
    assert planned.again
    assert planned.question.item == answers[1].item
    anything = Choices(exercise=Exercise.STEP, sources=(Source.MADE,))
    again = next_question(answers, anything, SETUP, LIBRARY, random.Random(1))
    assert again.question.item == answers[0].item


def test_where_nothing_fits_it_is_told_in_one_line() -> None:
    choices = Choices(exercise=Exercise.STEP, sources=(Source.BOOK,))
    with pytest.raises(ConfigError, match="choose other keys, textures or material"):
        next_question((), choices, SETUP, LIBRARY, random.Random(1))


def test_keys_of_so_many_signs() -> None:
    """The circle of fifths (common practice)."""
    assert {key.name for key in keys_of(1, minor=True)} == {
        "C major", "G major", "F major", "a minor", "e minor", "d minor",
    }  # fmt: skip
    assert len(keys_of(7, minor=True)) == 30
