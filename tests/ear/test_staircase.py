"""A simulated player of known skill is led to the published share of right answers."""

from __future__ import annotations

import math
import random  # noqa: TID251 -- seeded players
from statistics import fmean

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.ear.staircase import Rules, Staircase, after, answered, begin

# Levitt 1971, table I: the share of right answers that each rule leads to
PUBLISHED = {1: 0.5, 2: 0.707, 3: 0.794, 4: 0.841}


def skill(level: float, middle: float = 20.0, slope: float = 0.25) -> float:
    """A player's chance to be right: a logistic function, 1/2 at his middle level."""
    return 1 / (1 + math.exp(slope * (level - middle)))


def play(rules: Rules, seed: int, answers: int) -> tuple[list[int], Staircase]:
    """The levels asked at, and where the staircase stands in the end."""
    dice = random.Random(seed)
    stairs, levels = begin(rules), []
    for _ in range(answers):
        levels.append(stairs.level)
        stairs = answered(stairs, rules, right=dice.random() < skill(stairs.level))
    return levels, stairs


@pytest.mark.parametrize("rights", PUBLISHED)
def test_the_target_is_the_published_one(rights: int) -> None:
    assert Rules(rights=rights).target == pytest.approx(PUBLISHED[rights], abs=0.0005)


@pytest.mark.parametrize("rights", [2, 3])
@pytest.mark.parametrize("start", [1, 40])
def test_a_player_of_known_skill_comes_to_the_published_share(rights: int, start: int) -> None:
    """As in Levitt 1971: the mean of the levels at which it turned, the first left out."""
    rules = Rules(rights=rights, start=start, top=40)
    turned = [play(rules, seed, 400)[1].turned[4:] for seed in range(40)]
    level = fmean(fmean(levels) for levels in turned)
    assert skill(level) == pytest.approx(PUBLISHED[rights], abs=0.02)


@pytest.mark.parametrize("rights", [2, 3])
def test_so_many_of_the_questions_are_answered_right(rights: int) -> None:
    """What the player meets: his share of right answers at the levels that he was asked at."""
    rules = Rules(rights=rights, start=2, top=40)
    asked = [level for seed in range(20) for level in play(rules, seed, 400)[0][60:]]
    assert fmean(skill(level) for level in asked) == pytest.approx(PUBLISHED[rights], abs=0.03)


def test_two_rights_make_it_harder_and_one_wrong_easier() -> None:
    rules = Rules(start=5, first_step=1)
    assert after([True], rules).level == 5
    assert after([True, True], rules).level == 6
    assert after([True, False], rules).level == 4
    assert after([True, True, False, True, True], rules).turned == (6, 5)


def test_steps_are_large_until_it_has_turned() -> None:
    rules = Rules(start=6, first_step=3, later_step=1, turns=1, top=40)
    assert after([True, True, True, True], rules).level == 12
    assert after([True, True, True, True, False], rules).level == 11


@given(st.lists(st.booleans(), max_size=60))
def test_the_level_stays_on_the_stairs_and_does_not_depend_on_when_it_is_asked_for(
    verdicts: list[bool],
) -> None:
    rules = Rules()
    stairs = begin(rules)
    for right in verdicts:
        stairs = answered(stairs, rules, right=right)
        assert 1 <= stairs.level <= rules.top
    assert after(verdicts, rules) == stairs
