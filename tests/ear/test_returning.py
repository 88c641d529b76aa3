"""What was missed comes back, later each time."""

from __future__ import annotations

from dataclasses import replace

from livecont.ear.asked import Answered, Exercise, Item, Source, answered_of, item_of
from livecont.ear.returning import due_again

MISSED = Item(
    exercise=Exercise.STEP, source=Source.MADE, name="line", key="C major", level=3, seed=1
)


def answer(item: Item, right: bool) -> Answered:
    return Answered(
        player="one",
        item=item,
        right=right,
        again=False,
        step_degrees=-1,
        texture="line",
        detail={},
    )


def others(count: int, first: int = 100) -> list[Answered]:
    return [answer(replace(MISSED, seed=first + n), right=True) for n in range(count)]


def questions_until_due(before: list[Answered]) -> int:
    answers = list(before)
    count = 0
    while not due_again(answers, (2, 5, 12)):
        answers += others(1, first=1000 + count)
        count += 1
        assert count < 50
    assert due_again(answers, (2, 5, 12)) == (MISSED,)
    return count


def test_a_missed_item_comes_back_after_growing_gaps_and_then_no_more() -> None:
    answers = [answer(MISSED, right=False)]
    for gap in (2, 5, 12):
        assert questions_until_due(answers) == gap
        answers += [*others(gap), answer(MISSED, right=True)]
    assert due_again([*answers, *others(60)]) == ()


def test_missed_again_it_begins_anew() -> None:
    answers = [answer(MISSED, right=False), *others(2), answer(MISSED, right=False)]
    assert questions_until_due(answers) == 2


def test_of_several_the_most_overdue_comes_first() -> None:
    second = replace(MISSED, seed=2)
    answers = [answer(MISSED, right=False), *others(1), answer(second, right=False), *others(9)]
    assert due_again(answers) == (MISSED, second)


def test_what_was_right_does_not_come_back() -> None:
    assert due_again(others(40)) == ()


def test_answers_come_back_from_what_was_kept() -> None:
    one = answer(MISSED, right=False)
    kept = answered_of("one", one.item.json(), one.kept_detail(), right=False)
    assert kept is not None
    assert replace(kept, detail={}) == one


def test_what_this_version_cannot_ask_is_left_out() -> None:
    assert item_of({}) is None
    assert item_of({**MISSED.json(), "exercise": "dance"}) is None
    assert item_of({**MISSED.json(), "level": "high"}) is None
    assert item_of({**MISSED.json(), "seed": -1}) is None
    assert answered_of("one", MISSED.json(), {"step": "down"}, right=True) is None
