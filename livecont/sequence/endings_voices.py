"""What speaks against one setting of a harmony after another.

Conventions: as in `endings_setting`; costs compare. A bass is heard from beat to beat, a melody
from note to note.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from livecont.sequence.endings_leading import (
    LOWER,
    UPPER,
    Outer,
    Struck,
    awkward,
    forbidden,
    hidden,
    outer_pairs,
    parallels,
)
from livecont.sequence.endings_setting import Setting

FORBIDDEN_COST = 10.0
INNER_PARALLEL_COST = 0.5
HIDDEN_COST = 0.4
WIDE_STEP, WIDE_STEP_COST = 4, 0.08
AWKWARD_COST = 0.6


def joining_cost(before: Setting, after: Setting) -> float:
    """Return what speaks against one setting after another."""
    tail = _tail(before)
    later = [note._replace(offset=note.offset + 2) for note in after.struck]
    pairs = outer_pairs([*tail, *later])
    count = parallels(pairs) - parallels(after.pairs)
    if before.pairs and after.pairs:
        count += forbidden(before.pairs[0], after.pairs[0])
    cost = FORBIDDEN_COST * max(0, count)
    if len(pairs) > 1:
        cost += HIDDEN_COST * hidden(pairs[0], pairs[1])
    cost += INNER_PARALLEL_COST * _inner_parallels(before.head, after.head)
    for part, weight in ((UPPER, 1.0), (LOWER, 0.4)):
        last, first = before.last(part), after.first(part)
        head = before.first(part)
        if last is None or first is None or head is None:
            continue
        cost += weight * WIDE_STEP_COST * max(0, abs(first - head) - WIDE_STEP)
        # a bass is heard from beat to beat; a melody is heard from note to note
        joined = first - (last if part == UPPER else head)
        cost += weight * AWKWARD_COST * awkward(joined)
        if part == UPPER:
            cost += WIDE_STEP_COST / 2 * max(0, abs(joined) - WIDE_STEP)
    return cost


def _tail(setting: Setting) -> list[Struck]:
    """What each hand struck last, as struck together."""
    found = []
    for part in (LOWER, UPPER):
        line = [note for note in setting.struck if note.part == part]
        if line:
            latest = max(note.offset for note in line)
            found += [Struck(0.0, part, n.pitch) for n in line if latest - n.offset < 0.025]
    return found


def _inner_parallels(before: Sequence[Struck], after: Sequence[Struck]) -> int:
    """Parallels between voices of two chords of as many notes, the outer two left out."""
    if len(before) != len(after) or len(before) < 3:
        return 0
    one, two = sorted(n.pitch for n in before), sorted(n.pitch for n in after)
    last = len(one) - 1
    return sum(
        forbidden(Outer(one[i], one[j]), Outer(two[i], two[j]))
        for i, j in combinations(range(len(one)), 2)
        if (i, j) != (0, last)
    )
