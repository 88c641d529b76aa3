"""Telling a run from a sequence: scales and arpeggios are their own image at every lag.

In a run every group of notes is the one before it moved by the same small interval, counted in
degrees or in semitones: a scale, a chromatic or whole-tone scale, parallel thirds or sixths or
octaves, a broken chord of thirds. A sequence needs a link whose inside moves otherwise than the
link itself (common practice). Chords of three voices and more that move in parallel are one: the
parallel six-three chords of the handbooks.
"""

from __future__ import annotations

from itertools import pairwise

from livecont.music.key import Key
from livecont.sequence.groups import Group

# how far a run moves at most from group to group, in degrees and in semitones
WIDEST_DEGREES = 2
WIDEST_SEMITONES = 4
MOST_VOICES = 2
FEWEST_MOVES = 3
# a run is even: in a dotted rhythm a scale is a sequence of two notes a link [trade]
MOST_UNEVEN = 1.8
LONG_RUN = 6


def is_run(groups: tuple[Group, ...], key: Key) -> bool:
    """Whether consecutive groups, oldest first, are a run."""
    if len(groups) <= FEWEST_MOVES:
        return False
    if _moves_evenly(groups, key):
        return True
    # where a long run turns, or was entered, one move is another
    long = len(groups) > LONG_RUN
    return long and (_moves_evenly(groups[:-1], key) or _moves_evenly(groups[1:], key))


def _moves_evenly(groups: tuple[Group, ...], key: Key) -> bool:
    waits = [later.onset_s - earlier.onset_s for earlier, later in pairwise(groups)]
    if max(waits) > MOST_UNEVEN * min(waits):
        return False
    voices = max(len({pitch % 12 for pitch in group.pitches}) for group in groups)
    if voices > MOST_VOICES:
        return False
    for side in (min, max):
        line = [side(group.pitches) for group in groups]
        staff = [key.spell(pitch).staff for pitch in line]
        # by semitones only a single line runs: thirds that move so are a real sequence
        chromatic = voices == 1 and _even(line, WIDEST_SEMITONES)
        if not (chromatic or _even(staff, WIDEST_DEGREES)):
            return False
    return True


def _even(line: list[int], widest: int) -> bool:
    """Whether a line moves by the same interval, no wider than `widest`, from note to note."""
    moves = {later - earlier for earlier, later in pairwise(line)}
    return len(moves) == 1 and 0 < abs(moves.pop()) <= widest
