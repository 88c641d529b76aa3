"""Which of all runs in a texture a musician would call sequences, and which he would name first.

Scales, broken chords and repeated notes repeat themselves at a step as sequences do, and are none
(common practice): a run that a shorter unit with a step in proportion explains is one of these, or
is that shorter sequence; a run whose letters all stack in thirds, four at most, is one chord; one
whose links are a single note or chord, repeated, is a scale. In a pair, figuration is none either:
a scale that is begun anew elsewhere, a trill that goes on a step higher. Of the phases in which a
run can be cut, the one is taken that explains most, a bar's or a beat's start counting for
something.

Conventions: as in `finding_lags`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise

import numpy as np

from livecont.sequence.finding_lags import ROOM, Least, Run, Texture, explained
from livecont.sequence.finding_shelf import Shelf

# how much of the shorter of two runs must lie in the other for them to be in each other's way
IN_THE_WAY = 0.5
# what it is worth to begin where a bar or a beat does, as a share of what was gained [trade]
AT_BAR, AT_BEAT = 0.12, 0.06
MOST_CHORD_LETTERS = 4  # a seventh chord
LONGEST_FIGURE = 4  # onsets
FIGURATION = 0.9
CHAIN = 3  # links: fewer are a pair, which makes way for every chain
LETTERS = 7

Weight = Callable[[int], float]


def overlap(one: Run, other: Run) -> int:
    """Return how long two runs of one texture are both under way, in ticks."""
    return max(0, min(one.end, other.end) - max(one.start, other.start))


def in_the_way(one: Run, other: Run, share: float = IN_THE_WAY) -> bool:
    """Whether two runs share so much of the shorter one."""
    return overlap(one, other) >= share * min(one.end - one.start, other.end - other.start)


def same_motion(one: Run, other: Run) -> bool:
    """Whether two runs move alike: unit and step equal, or both times one whole number."""
    long, short = (one, other) if one.unit >= other.unit else (other, one)
    times, rest = divmod(long.unit, short.unit)
    return rest == 0 and long.step == times * short.step


def best_phases(found: Iterable[Run], weight: Weight, ticks: int) -> list[Run]:
    """Return of every motion the runs that are not in each other's way, the weightiest first."""
    shelves: dict[tuple[int, int], Shelf[Run]] = {}
    ordered = sorted(found, key=lambda run: (-run.gain * weight(run.start), run.start, run.unit))
    kept = []
    for run in ordered:
        shelf = shelves.setdefault((run.unit, run.step), Shelf(ticks))
        if not any(in_the_way(run, other) for other in shelf.between(run.start, run.end)):
            shelf.put(run, run.start, run.end)
            kept.append(run)
    return sorted(kept, key=lambda run: (-run.gain, run.start, run.unit))


def meaningful(texture: Texture, found: Sequence[Run], least: Least) -> list[Run]:
    """Return the runs that are no scale, broken chord or repeated note, each by its shortest unit.

    `found` are all runs of the texture, the weightiest first, as is the result.
    """
    shelf = Shelf[Run](texture.ticks)
    for run in found:
        shelf.put(run, run.start, run.end)
    return [
        run
        for run in found
        if not _one_sonority(texture, run)
        and not _one_chord(texture, run)
        and not (run.links < CHAIN and _figuration(texture, run))
        and not _one_of_a_shorter(texture, run, least)
        and not any(
            other.unit < run.unit and same_motion(run, other) and in_the_way(run, other, 0.8)
            for other in shelf.between(run.start, run.end)
        )
    ]


def _one_of_a_shorter(texture: Texture, run: Run, least: Least) -> bool:
    """Whether a shorter unit with a step in proportion explains a run."""
    return any(
        run.unit % parts == 0
        and run.step % parts == 0
        and explained(texture, run, run.unit // parts, run.step // parts) >= least.exact
        for parts in range(2, abs(run.step) + 1)
    )


def _one_sonority(texture: Texture, run: Run) -> bool:
    """Whether a link is no more than one chord or note, repeated: a scale in repeated notes.

    Of single notes two of one letter count as one, and a chromatic scale is a scale.
    """
    onsets = list(_by_onset(texture, run))
    sounds = [frozenset(texture.sound[begin:end].tolist()) for begin, end in onsets]
    if _changes(sounds) <= run.links + 1:
        return True
    letters = [frozenset(_letters(texture, begin, end)) for begin, end in onsets]
    if max(map(len, letters)) > 1:
        return False
    semitones = {(min(b) - min(a)) % 12 for a, b in pairwise(sounds)} - {0}
    return _changes(letters) <= run.links + 1 or semitones in ({1}, {11})


def _by_onset(texture: Texture, run: Run) -> Iterator[tuple[int, int]]:
    """Yield the first note of each onset of a run, and the one after its last."""
    first, last = np.searchsorted(texture.groups, (run.start, run.end))
    return pairwise(texture.first[first : last + 1].tolist())


def _changes(sonorities: Sequence[frozenset[int]]) -> int:
    """How many sonorities follow each other, a repeated one counted once."""
    return 1 + sum(one != other for one, other in pairwise(sonorities))


def _letters(texture: Texture, begin: int, end: int) -> set[int]:
    return set(((texture.place[begin:end] - ROOM) % LETTERS).tolist())


def _figuration(texture: Texture, run: Run) -> bool:
    """Whether a run goes on from onset to onset as scales, trills, drums and broken chords do.

    It does where nearly every onset is that of one to four onsets before, moved alike.
    """
    onsets = [
        frozenset(texture.place[begin:end].tolist()) for begin, end in _by_onset(texture, run)
    ]
    for lag in range(1, LONGEST_FIGURE + 1):
        pairs = list(zip(onsets, onsets[lag:], strict=False))
        if len(pairs) < 2 * lag:
            return False
        moves = [min(later) - min(earlier) for earlier, later in pairs]
        move = max(set(moves), key=moves.count)
        alike = sum(later == {place + move for place in earlier} for earlier, later in pairs)
        if alike >= FIGURATION * len(pairs):
            return True
    return False


def _one_chord(texture: Texture, run: Run) -> bool:
    begin, end = int(texture.note_at(run.start)), int(texture.note_at(run.end))
    letters = _letters(texture, begin, end)
    if len(letters) > MOST_CHORD_LETTERS:
        return False
    return any(
        {(root + 2 * third) % LETTERS for third in range(len(letters))} == letters
        for root in letters
    )


def metrical_weight(bars: frozenset[int], beats: frozenset[int]) -> Weight:
    """Return the worth of beginning at a tick; `bars` and `beats` are where those begin."""

    def weight(at: int) -> float:
        return 1.0 + (AT_BAR if at in bars else AT_BEAT if at in beats else 0.0)

    return weight
