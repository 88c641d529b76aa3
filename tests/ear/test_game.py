"""Whole rounds of each exercise in virtual time, played by hand-made players."""

from __future__ import annotations

import pytest

from livecont.ear.asked import Exercise
from livecont.ear.sounds import Keep
from livecont.ear.state import Phase
from livecont.ear.verdicts import step_sizes
from livecont.sitting.events import Lost, Quit
from tests.ear.gaming import Table, session


def answer(table: Table, *, right: bool) -> None:
    """Answer the question that is asked, as somebody would who knows it or does not."""
    question, game = table.question, table.game
    ends_s = game.ends_s
    if question.due is not None:
        table.play(question.due, ends_s + 0.1, up=0 if right else 1)
        table.until(table.now_s + 3)
    elif question.odd is not None:
        place = next(
            i for i, link in enumerate(question.links) if link.number == question.odd.link.number
        )
        odd_s = game.start_s + place * question.unit_s + question.odd.offset_s
        table.strike(60, odd_s + 0.4 if right else game.start_s + 0.2)
    elif question.names:
        label = question.matter.label
        true = next(i for i, n in enumerate(question.names, 1) if label and n.text == label.text)
        table.until(ends_s + 0.5)
        table.type(str(true if right else true % len(question.names) + 1))
    elif question.left is not None:
        table.until(ends_s + 0.5)
        table.type(str(question.left + (not right)))
        table.until(table.now_s + 3)
    else:
        size = min(step_sizes(question.matter.pattern), key=abs)
        table.strike(60, ends_s + 0.5)
        table.strike(60 + (size if right else -size), ends_s + 1)


def next_question(table: Table) -> None:
    while table.at(Phase.TOLD):
        table.until(table.now_s + 0.5)


@pytest.mark.parametrize("exercise", Exercise)
def test_a_round_of_right_answers_climbs_and_ends_by_itself(exercise: Exercise) -> None:
    table = Table(session(exercise, questions=8))
    while not table.over:
        answer(table, right=True)
        next_question(table)
    assert [one.right for one in table.kept] == [True] * 8
    levels = [one.item.level for one in table.kept]
    assert levels == sorted(levels)
    assert levels[-1] > levels[0] + 3
    assert table.at(Phase.OVER)


@pytest.mark.parametrize("exercise", Exercise)
def test_wrong_answers_lead_down_and_what_was_missed_returns(exercise: Exercise) -> None:
    table = Table(session(exercise, questions=4))
    while not table.over:
        answer(table, right=False)
        next_question(table)
    assert [one.right for one in table.kept] == [False] * 4
    assert [one.again for one in table.kept] == [False, False, False, True]
    assert table.kept[3].item == table.kept[0].item
    assert table.kept[2].item.level == 1


@pytest.mark.parametrize("exercise", Exercise)
def test_a_wrong_answer_is_told_and_the_true_one_sounds(exercise: Exercise) -> None:
    table = Table(session(exercise))
    answer(table, right=False)
    verdict = table.game.verdict
    assert verdict is not None
    assert not verdict.right
    assert verdict.said
    kept_s = next(at_s for at_s, effect in table.effects if isinstance(effect, Keep))
    told = table.sounds_from(kept_s)
    question = table.question
    if question.due is not None:
        assert [one.link for one in told] == [question.due]
    elif question.odd is not None:
        odd = question.odd
        assert told[0].link == odd.link
        assert told[1].link.notes[odd.index].spelling == odd.due
    else:
        assert [one.link for one in told] == list(question.links[:2])


def test_the_answer_is_kept_before_anything_else_is_done() -> None:
    table = Table(session(Exercise.STEP))
    answer(table, right=True)
    assert len(table.kept) == 1
    assert table.at(Phase.TOLD)


def test_the_question_sounds_within_a_second_and_link_after_link() -> None:
    table = Table(session(Exercise.ANSWER))
    sounds = table.sounds_from(0)
    assert sounds[0].start_s < 1
    assert [one.link.number for one in sounds] == [1, 2]
    assert sounds[1].start_s - sounds[0].start_s == pytest.approx(table.question.unit_s)


def test_an_answer_begun_a_little_early_counts_from_its_first_note() -> None:
    table = Table(session(Exercise.ANSWER))
    assert table.question.due is not None
    table.play(table.question.due, table.game.ends_s - 0.2)
    table.until(table.now_s + 3)
    assert table.kept[0].right
    assert table.kept[0].detail["start_off_s"] == pytest.approx(-0.2, abs=0.001)


def test_who_plays_along_with_the_question_has_not_answered() -> None:
    table = Table(session(Exercise.ANSWER))
    table.play(table.question.links[0], table.game.start_s + 0.1)
    assert table.at(Phase.CALL)
    answer(table, right=True)
    assert table.kept[0].right


def test_players_take_turns_each_at_his_own_level() -> None:
    table = Table(session(Exercise.STEP, players=("one", "two"), questions=12))
    while not table.over:
        answer(table, right=table.game.player == "one")
        next_question(table)
    assert [one.player for one in table.kept] == ["one", "two"] * 6
    levels = {who: [a.item.level for a in table.kept if a.player == who] for who in ("one", "two")}
    assert levels["one"][-1] > 3
    assert levels["two"][-1] == 1


def test_a_round_that_was_broken_off_goes_on_where_it_was() -> None:
    whole = Table(session(Exercise.STEP))
    for right in (True, True, False):
        answer(whole, right=right)
        next_question(whole)
    again = Table(session(Exercise.STEP), tuple(whole.kept))
    assert again.question == whole.question


def test_the_pedal_goes_on_hears_again_and_is_left_to_the_music_while_a_link_is_played() -> None:
    table = Table(session(Exercise.ANSWER))
    table.until(table.game.ends_s + 1)
    table.press(table.now_s)  # nothing played yet: hear it again
    assert table.at(Phase.CALL)
    assert table.question.due is not None
    table.until(table.game.ends_s - 0.1)
    table.until(table.game.ends_s + 0.1)
    table.press(table.now_s, controller=64)  # the pedal goes down before the first note
    assert table.at(Phase.ANSWERING)
    first_note = min(table.question.due.notes, key=lambda note: note.offset_s)
    table.strike(first_note.pitch, table.now_s)
    table.press(table.now_s, controller=64)
    assert table.at(Phase.ANSWERING)
    while not table.at(Phase.TOLD):
        table.until(table.now_s + 0.1)
    first = table.question
    table.press(table.now_s)
    assert table.at(Phase.CALL)
    assert table.question != first


def test_the_lowest_key_goes_on_and_the_highest_hears_again() -> None:
    table = Table(session(Exercise.STEP))
    table.until(table.game.ends_s + 1)
    start_s = table.game.start_s
    table.strike(MODERN_HIGHEST, table.now_s)
    assert table.at(Phase.CALL)
    assert table.game.start_s > start_s
    answer(table, right=True)
    first = table.question
    table.strike(MODERN_LOWEST, table.now_s)
    assert table.question != first


MODERN_LOWEST, MODERN_HIGHEST = 21, 108


def test_the_computer_pauses_and_goes_on_with_the_same_question() -> None:
    table = Table(session(Exercise.ANSWER))
    table.until(table.game.start_s + 0.5)
    table.type("p")
    assert table.at(Phase.PAUSED)
    assert len(table.sounds_from(table.now_s)) == 0
    question = table.question
    table.until(table.now_s + 1000)
    assert table.at(Phase.PAUSED)
    table.type(" ")
    assert table.at(Phase.CALL)
    assert table.question == question


def test_a_keyboard_that_is_lost_pauses_and_nothing_is_held_against_the_player() -> None:
    table = Table(session(Exercise.ANSWER))
    table.give(Lost(at_s=table.game.start_s + 0.5))
    assert table.at(Phase.PAUSED)
    assert table.kept == []


def test_where_nobody_answers_it_asks_once_more_and_then_waits() -> None:
    table = Table(session(Exercise.STEP, think_s=5))
    question = table.question
    table.until(100)
    assert table.at(Phase.PAUSED)
    assert table.question == question
    assert table.kept == []
    starts = [s.start_s for s in table.sounds_from(0) if s.link.number == 1]
    assert len(starts) == 2


def test_an_odd_link_that_passes_is_told() -> None:
    table = Table(session(Exercise.ODD_LINK))
    table.until(table.game.ends_s + 4)
    assert [one.right for one in table.kept] == [False]
    assert table.kept[0].detail["after_s"] is None
    assert table.game.verdict is not None
    assert table.game.verdict.said[0] == "it passed unnoticed"


def test_yours_and_the_true_one_can_be_heard_again() -> None:
    table = Table(session(Exercise.ANSWER))
    answer(table, right=False)
    table.until(table.now_s + 0.1)
    table.type("y")
    (yours,) = table.sounds_from(table.now_s)
    assert table.question.due is not None
    due = sorted(note.pitch for note in table.question.due.notes)
    assert sorted(note.pitch for note in yours.link.notes) == [pitch + 1 for pitch in due]
    table.type("t", table.now_s + 0.5)
    assert [one.link for one in table.sounds_from(table.now_s)] == [table.question.due]


def test_no_link_left_can_be_said_without_a_computer() -> None:
    for seed in range(40):
        table = Table(session(Exercise.HOW_MANY, seed=seed))
        if table.question.left == 0:
            table.press(table.game.ends_s + 1)
            assert table.kept[0].right
            return
    pytest.fail("no such question")


def test_links_left_are_counted_in_keys() -> None:
    for seed in range(40):
        table = Table(session(Exercise.HOW_MANY, seed=seed))
        left = table.question.left
        if left:
            for number in range(left):
                table.strike(60, table.game.ends_s + 1 + 0.4 * number)
            table.until(table.now_s + 3)
            assert table.kept[0].right
            return
    pytest.fail("no such question")


def test_quitting_is_silent_and_final() -> None:
    table = Table(session(Exercise.ANSWER))
    table.give(Quit(at_s=1.0))
    assert table.at(Phase.OVER)
    assert table.sounds_from(1.0) == []
    table.strike(60, 2.0)
    assert table.kept == []
