"""A whole lesson through real MIDI ports (JACK): another process leads it, listens and answers."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.ear.test_real_game import CLOCK, Lesson, end_all
from tests.live.test_real_ports import Rig, until

# our falling fifths in G major, fast
PLAN = """
title = "A lesson in a hurry"
model = "falling-fifths"
tempo = 250

[[step]]
show = "second-link"

[[step]]
show = "main-notes"

[[step]]
show = "chain"
links = 3

[[step]]
show = "one-hand"
hand = "left"
links = 1

[[step]]
show = "answer"

[[step]]
show = "cadence"
"""
G_MAJOR = (0, 2, 4, 6, 7, 9, 11)
NOTES = 21  # of a link
QUIET_S = 0.9  # longer than any gap within a step


@pytest.fixture
def rig(jack: str) -> Iterator[Rig]:
    made = Rig()
    yield made
    end_all()
    made.close()


def lower(pitch: int) -> int:
    """The note a step lower in G major."""
    return max(p for p in range(pitch) if p % 12 in G_MAJOR)


def pedal(rig: Rig) -> None:
    rig.ask("play", [(0.0, "b0407f"), (0.05, "b04000")])


def step_heard(lesson: Lesson) -> list[tuple[float, int]]:
    """What sounds until it is quiet."""
    heard = lesson.hear(1)

    def quiet() -> bool:
        more = lesson.rig.strikes()[lesson.heard :]
        heard.extend(more)
        lesson.heard += len(more)
        return CLOCK.now_s() > heard[-1][0] + QUIET_S

    assert until(quiet)
    return heard


def test_a_lesson(rig: Rig, tmp_path: Path) -> None:
    plan = tmp_path / "hurry.toml"
    plan.write_text(PLAN, encoding="utf-8")
    lesson = Lesson(rig, tmp_path, "lesson", str(plan))
    both = step_heard(lesson)
    assert len(both) == 2 * NOTES
    one, two = both[:NOTES], both[NOTES:]
    assert sorted(lower(pitch) for _, pitch in one) == sorted(pitch for _, pitch in two)
    unit_s = two[0][0] - one[0][0]

    pedal(rig)
    assert 4 <= len(step_heard(lesson)) < len(both) / 2  # the figuration is gone

    pedal(rig)
    chain = step_heard(lesson)
    third = sorted(lower(pitch) for _, pitch in two)
    assert sorted(pitch for _, pitch in chain[2 * NOTES :]) == third

    pedal(rig)
    assert len(step_heard(lesson)) == NOTES  # the first link, as an example; then it waits
    upper = [pitch for _, pitch in two if pitch > 64]
    under = sorted(pitch for _, pitch in two if pitch <= 64)
    lesson.play(upper, 0.12, CLOCK.now_s() + 0.1)
    assert sorted(pitch for _, pitch in step_heard(lesson)) == under

    pedal(rig)
    asked = step_heard(lesson)[NOTES:]
    begun_s = CLOCK.now_s() + 0.1
    answer = [(at_s - asked[0][0] + begun_s - CLOCK.now_s(), lower(pitch)) for at_s, pitch in asked]
    rig.ask("play", [(at_s, f"90{pitch:02x}46") for at_s, pitch in answer])
    assert until(lambda: len(lesson.kept()) == 1)

    pedal(rig)
    cadence = step_heard(lesson)
    final = [pitch for at_s, pitch in cadence if at_s > cadence[-1][0] - 0.05]
    assert min(final) % 12 == 7  # on G
    pedal(rig)
    out = lesson.end()
    (kept,) = lesson.kept()
    assert (kept.exercise, kept.right) == ("answer", True)
    assert kept.detail["lesson"] == "A lesson in a hurry"
    assert 0.5 < unit_s < 1.5
    assert rig.hanging() == set()
    assert "a second down" in out
