"""On the development cases: a pianist's link is accepted, and refused with one note altered.

`python -m tests.bench judging ../shared/cases` says more; this holds what was promised.
"""

from __future__ import annotations

import random  # noqa: TID251 -- seeded
from functools import cache
from pathlib import Path

import pytest

from tests.bench.judging import ALTERED, Answer, performed, struck_in, third

CASES = Path(__file__).resolve().parents[3] / "shared" / "cases"
PROMISED = 0.98
EVERY = 12  # notes; the benchmark takes every one

pytestmark = pytest.mark.skipif(
    not (CASES / "truth.jsonl").is_file(), reason=f"no development cases at {CASES}"
)


@cache
def accepted_of(kind: str) -> tuple[int, tuple[Answer, ...]]:
    """How many whole answers there are, and those of them that are accepted."""
    pairs = [(answer, link) for answer, link in performed(CASES) if answer.whole]
    given = [answer if kind == "performed" else third(answer, link) for answer, link in pairs]
    return len(given), tuple(answer for answer in given if answer.judged().right)


@pytest.mark.parametrize("kind", ["performed", "third"])
def test_what_a_pianist_played_is_accepted(kind: str) -> None:
    count, accepted = accepted_of(kind)
    assert count >= 100
    assert len(accepted) >= PROMISED * count


@pytest.mark.parametrize("kind", ["performed", "third"])
@pytest.mark.parametrize("how", ALTERED)
def test_the_same_with_one_note_altered_is_refused(kind: str, how: str) -> None:
    dice = random.Random(3)
    refused = total = 0
    for answer in accepted_of(kind)[1]:
        for place in struck_in(answer, answer.judged())[::EVERY]:
            played = ALTERED[how](answer.played, place, dice)
            if played != answer.played:
                total += 1
                refused += not answer.judged(played).right
    assert total >= 30
    assert refused >= PROMISED * total
