"""Links that say too little to be links: one chord, or one triad that moves as harmony does.

A link needs an inside. A chord that is struck, rolled or repeated has none, however many notes it
has: that the next chord lies a step off is any chord change (common practice). A broken triad has
one, but when it moves by a fourth or fifth, twice, it is the cadence at the end of any phrase; the
third time it is the circle of fifths.

Conventions: groups are those of one link, oldest first.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from livecont.sequence.groups import Group

# onsets nearer than this follow each other as in a rolled chord: no melody goes so fast [trade]
ROLLED_S = 0.06
FOURTH_DEGREES = 3
TRIAD_NOTES = 3
LINKS_OF_A_CIRCLE = 3


def is_one_chord(link: Sequence[Group]) -> bool:
    """Whether a link is one chord, struck at once or rolled, once or several times."""
    chords: list[set[int]] = []
    before_s = float("-inf")
    for group in link:
        if group.onset_s - before_s < ROLLED_S:
            chords[-1].update(group.pitches)
        else:
            chords.append(set(group.pitches))
        before_s = max(note.onset_s for note in group.notes)
    return all(one == other for one, other in pairwise(chords))


def is_a_triad_that_cadences(link: Sequence[Group], step_degrees: int, links: float) -> bool:
    """Whether a link has the notes of one chord only and moves by a fourth or fifth, once.

    Args:
        link: the newest one.
        step_degrees: from link to link.
        links: how many were heard.
    """
    notes = {pitch % 12 for group in link for pitch in group.pitches}
    leaps = abs(step_degrees) >= FOURTH_DEGREES
    return leaps and len(notes) <= TRIAD_NOTES and links < LINKS_OF_A_CIRCLE
