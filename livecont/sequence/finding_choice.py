"""Which of all runs in a texture a musician would call sequences, and which he would name first.

Scales, broken chords and repeated notes repeat themselves at a step as sequences do, and are none
(common practice): a run that a shorter unit with a step in proportion explains is one of these, or
is that shorter sequence; a run whose letters all stack in thirds, four at most, is one chord; a
link of one letter is none. Of the phases in which a run can be cut, the one is taken that explains
most, a bar's or a beat's start counting for something.

Conventions: as in `finding_lags`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction

from livecont.sequence.finding_lags import ROOM, Least, Run, Texture, explained

# how much of the shorter of two runs must lie in the other for them to be in each other's way
IN_THE_WAY = 0.5
# what it is worth to begin where a bar or a beat does, as a share of what was gained [trade]
AT_BAR, AT_BEAT = 0.12, 0.06
MOST_CHORD_LETTERS = 4  # a seventh chord
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


def best_phases(found: Iterable[Run], weight: Weight) -> list[Run]:
    """Return of every motion the runs that are not in each other's way, the best first."""
    by_motion: dict[tuple[int, int], list[Run]] = {}
    for run in found:
        by_motion.setdefault((run.unit, run.step), []).append(run)
    kept: list[Run] = []
    for group in by_motion.values():
        group.sort(key=lambda run: (-run.gain * weight(run.start), run.start))
        chosen: list[Run] = []
        for run in group:
            if not any(in_the_way(run, other) for other in chosen):
                chosen.append(run)
        kept += chosen
    return sorted(kept, key=lambda run: (-run.gain, run.start, run.unit))


def meaningful(texture: Texture, run: Run, least: Least, shorter: Sequence[Run]) -> bool:
    """Whether a run is no scale, no broken chord, no repeated note, and not a shorter sequence.

    `shorter` are the other runs of the texture.
    """
    if _one_letter(texture, run) or _one_chord(texture, run):
        return False
    for parts in range(2, abs(run.step) + 1):
        unit, rest = divmod(run.unit, parts)
        if rest or run.step % parts:
            continue
        if explained(texture, run, unit, run.step // parts) >= least.exact:
            return False
    return not any(
        other.unit < run.unit and same_motion(run, other) and in_the_way(run, other, 0.8)
        for other in shorter
    )


def _letters(texture: Texture, start: int, end: int) -> set[int]:
    begin, after = int(texture.note_at(start)), int(texture.note_at(end))
    return set(((texture.place[begin:after] - ROOM) % LETTERS).tolist())


def _one_letter(texture: Texture, run: Run) -> bool:
    return any(
        len(_letters(texture, start, start + run.unit)) < 2
        for start in range(run.start, run.end, run.unit)
    )


def _one_chord(texture: Texture, run: Run) -> bool:
    letters = _letters(texture, run.start, run.end)
    if len(letters) > MOST_CHORD_LETTERS:
        return False
    return any(
        {(root + 2 * third) % LETTERS for third in range(len(letters))} == letters
        for root in letters
    )


def metrical_weight(bars: frozenset[int], beats: frozenset[int]) -> Weight:
    """Return the worth of beginning at a tick; `bars` and `beats` are the ticks where they begin."""

    def weight(at: int) -> float:
        return 1.0 + (AT_BAR if at in bars else AT_BEAT if at in beats else 0.0)

    return weight


def ticks(at_q: Fraction, texture: Texture) -> int:
    """Return a place in the texture's ticks."""
    return round(at_q * texture.ticks)
