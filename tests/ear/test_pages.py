"""Pages of games and lessons, held as text and as one picture for the README.

`UPDATE_GOLDEN=1 python -m pytest tests/ear/test_pages.py` writes them anew; look at each change.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from livecont.ear import lesson_view, viewing
from livecont.ear.asked import Exercise
from livecont.ear.plan import Hand, PlanStep, Show
from livecont.screen.ear_page import render_ear
from livecont.screen.ear_view import EarView
from livecont.screen.picture import write_picture
from livecont.sequence.events import KeyDown
from tests.ear.gaming import Table, session
from tests.ear.test_game import answer, next_question
from tests.ear.test_lesson import Room, teaching

GOLDEN = Path(__file__).resolve().parents[1] / "golden"
UPDATE = bool(os.environ.get("UPDATE_GOLDEN"))
SIZES = ((80, 24), (200, 60))


def at_level(exercise: Exercise, level: int, seed: int) -> Table:
    held = session(exercise, players=("Kim", "Robin"), seed=seed)
    return Table(
        replace(held, setup=replace(held.setup, rules=replace(held.setup.rules, start=level)))
    )


def call() -> EarView:
    table = at_level(Exercise.ANSWER, 5, 3)
    table.until(4.0)
    return viewing.view(table.game, table.now_s)


def verdict() -> EarView:
    """Two right answers, then one with a wrong note, a missing one and a late start."""
    table = at_level(Exercise.ANSWER, 7, 5)
    for _ in range(2):
        answer(table, right=True)
        next_question(table)
    due = table.question.due
    assert due is not None
    for number, note in enumerate(sorted(due.notes, key=lambda one: one.offset_s)):
        at_s = table.game.ends_s + note.offset_s + 0.3
        if number != 5:
            pitch = note.pitch - (number == 3)
            table.give(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
    table.until(table.now_s + 4)
    return viewing.view(table.game, table.now_s)


def names() -> EarView:
    table = at_level(Exercise.NAME_IT, 11, 4)
    table.until(table.game.ends_s + 1)
    return viewing.view(table.game, table.now_s)


def odd() -> EarView:
    table = at_level(Exercise.ODD_LINK, 9, 8)
    table.until(table.game.ends_s + 4)
    return viewing.view(table.game, table.now_s)


def shown(step: PlanStep, at_s: float) -> Callable[[], EarView]:
    def of_the_step() -> EarView:
        room = Room(teaching(step))
        room.until(at_s)
        return lesson_view.view(room.lesson, at_s)

    return of_the_step


PAGES = {
    "call": call,
    "verdict": verdict,
    "names": names,
    "odd": odd,
    "second-link": shown(PlanStep(show=Show.SECOND_LINK, say="where does it go?"), 4.0),
    "label": shown(PlanStep(show=Show.LABEL), 2.0),
    "chain": shown(PlanStep(show=Show.CHAIN), 6.0),
    "one-hand": shown(PlanStep(show=Show.ONE_HAND, hand=Hand.RIGHT, links=1), 8.0),
}


@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize("name", PAGES)
def test_pages(name: str, width: int, height: int) -> None:
    sheet = render_ear(PAGES[name](), width=width, height=height)
    page = "\n".join("".join(run.text for run in runs).rstrip() for runs in sheet.lines) + "\n"
    path = GOLDEN / "ear" / f"{name}-{width}x{height}.txt"
    if UPDATE:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(page, encoding="utf-8", newline="\n")
    assert path.read_text("utf-8") == page


def test_the_picture_in_the_readme_is_real(tmp_path: Path) -> None:
    golden = GOLDEN / "readme" / "ear.svg"
    path = golden if UPDATE else tmp_path / "now.svg"
    write_picture(render_ear(verdict(), width=80, height=24), path)
    assert path.read_text("utf-8") == golden.read_text("utf-8")
    assert "(tests/golden/readme/ear.svg)" in (GOLDEN.parents[1] / "README.md").read_text("utf-8")
