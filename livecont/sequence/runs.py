"""Telling a run from a sequence: scales and arpeggios are their own image at every lag.

In a run every group of notes is the one before it moved by the same small interval, counted in
degrees or in semitones: a scale, a chromatic or whole-tone scale, parallel thirds or sixths or
octaves, a broken chord of thirds. A sequence needs a link whose inside moves otherwise than the
link itself (common practice). Chords of three voices and more that move in parallel are one: the
parallel six-three chords of the handbooks.

Two hands do not strike together to the millisecond: what one of them plays a little later belongs
to the note before, and at either end one hand may be missing, since the other is not there yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import median

from livecont.music.key import Key
from livecont.sequence.groups import Group

# how far a run moves at most from group to group, in degrees and in semitones
WIDEST_DEGREES = 2
WIDEST_SEMITONES = 4
MOST_VOICES = 2
FEWEST_MOVES = 3
# a run is even: in a dotted rhythm a scale is a sequence of two notes a link [trade]
MOST_UNEVEN = 1.8
UNEVEN_S = 0.01  # how early or late a finger is that means to be even [trade]
LONG_RUN = 5
# hands that mean to strike together: at most so far apart, in seconds and of the usual wait
HANDS_APART_S = 0.07
HANDS_APART = 0.45

_Chord = tuple[float, tuple[int, ...]]  # onset in seconds, MIDI pitches rising


def is_run(groups: tuple[Group, ...], key: Key) -> bool:
    """Whether consecutive groups, oldest first, are a run."""
    if len(groups) <= FEWEST_MOVES:
        return False
    chords = _gathered(groups)
    if _moves_evenly(chords, key):
        return True
    # where a long run turns, or was entered, one move is another; where that is at both ends, two
    inner = (chords[:-1], chords[1:], chords[1:-1]) if len(chords) > LONG_RUN else ()
    return any(_moves_evenly(part, key) for part in inner)


def _gathered(groups: tuple[Group, ...]) -> list[_Chord]:
    """The groups' pitches, those of hands that mean to strike together in one chord."""
    usual_s = median(later.onset_s - earlier.onset_s for earlier, later in pairwise(groups))
    near_s = min(HANDS_APART_S, HANDS_APART * usual_s)
    chords: list[_Chord] = []
    for group in groups:
        onset_s, pitches = chords[-1] if chords else (0.0, ())
        if chords and group.onset_s - onset_s < near_s:
            chords[-1] = onset_s, tuple(sorted({*pitches, *group.pitches}))
        else:
            chords.append((group.onset_s, group.pitches))
    return chords


def _moves_evenly(chords: Sequence[_Chord], key: Key) -> bool:
    waits = [later[0] - earlier[0] for earlier, later in pairwise(chords)]
    if not waits or max(waits) - UNEVEN_S > MOST_UNEVEN * (min(waits) + UNEVEN_S):
        return False
    pitches = [chord for _, chord in chords]
    voices = max(len({pitch % 12 for pitch in chord}) for chord in pitches)
    if voices > MOST_VOICES:
        return False
    # by semitones only a single line runs: thirds that move so are a real sequence
    chromatic = voices == 1 and _even(pitches, WIDEST_SEMITONES)
    staffs = [tuple(sorted({key.spell(pitch).staff for pitch in chord})) for chord in pitches]
    return chromatic or _even(staffs, WIDEST_DEGREES)


def _even(chords: Sequence[tuple[int, ...]], widest: int) -> bool:
    """Whether outer voices move by the same interval, no wider than `widest`, all the time."""
    pairs = list(pairwise(chords))
    ends = (pairs[0][::-1], -1), (pairs[-1], 1)
    return any(
        all(_moves(pair, move) for pair in pairs[1:-1])
        and all(_moves(pair, move * way) or _lacks(pair, move * way) for pair, way in ends)
        for move in range(-widest, widest + 1)
        if move
    )


def _moves(pair: tuple[tuple[int, ...], tuple[int, ...]], move: int) -> bool:
    return all(side(pair[1]) - side(pair[0]) == move for side in (min, max))


def _lacks(pair: tuple[tuple[int, ...], tuple[int, ...]], move: int) -> bool:
    """Whether the later chord is the earlier one moved, but for a voice that it lacks."""
    return {pitch - move for pitch in pair[1]} < set(pair[0])
