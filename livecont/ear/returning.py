"""What was missed comes back: after a short while, and after longer ones each time it is known.

Expanding retrieval practice (Landauer & Bjork 1978): a missed item is asked again after the first
of some gaps, counted in questions; answered right, after the next, longer one; after the last it is
done with. Missed again, it begins anew.

Conventions: gaps count questions of the same exercise to the same player. Pure: what is due follows
from the answers kept.
"""

from __future__ import annotations

from collections.abc import Sequence

from livecont.ear.asked import Answered, Item

GAPS = (2, 5, 12)


def due_again(answers: Sequence[Answered], gaps: Sequence[int] = GAPS) -> tuple[Item, ...]:
    """Return the items that are due again by now, the most overdue first.

    Args:
        answers: a player's answers to one exercise, oldest first.
        gaps: how many other questions lie between one asking and the next.
    """
    waiting: dict[Item, tuple[int, int]] = {}  # the answer's number, which gap it waits for
    for number, one in enumerate(answers):
        if not one.right:
            waiting[one.item] = (number, 0)
        elif one.item in waiting:
            gap = waiting[one.item][1] + 1
            if gap >= len(gaps):
                del waiting[one.item]
            else:
                waiting[one.item] = (number, gap)
    overdue = {
        item: len(answers) - number - gaps[gap] - 1 for item, (number, gap) in waiting.items()
    }
    due = [item for item, by in overdue.items() if by >= 0]
    return tuple(sorted(due, key=lambda item: -overdue[item]))
