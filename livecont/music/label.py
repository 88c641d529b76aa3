"""The label of a sequence, as the handbooks write it: D2 (D5/A4), and what it is called.

Conventions: motions are diatonic places, up positive: A4 is 3, D5 is -4. A label's motions lead
from root to root inside the link, the last to the next link's first root, so that they add up to
the step (now and then an octave from it). D and A are for descending and ascending; a fourth up and
a fifth down are the same motion of roots, and which is written where follows from the sum.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

PLACES = 7
WIDEST = 4  # roots move by a fifth at most: a sixth up is a third down
_ORDINALS = {
    1: "unison", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh",
    8: "octave",
}  # fmt: skip
_AN = ("octave",)

SIX_THREE = "in six-three chords"
APPLIED = "with applied dominants"

# what trade and handbooks call them, by step and motions (the sources: configs/labels.md)
_NAMES: dict[tuple[int, ...], str] = {
    (-1, -4, 3): "descending fifths",
    (-1, 3, -4): "descending fifths",
    (1, 4, -3): "ascending fifths",
    (1, -3, 4): "ascending fifths",
    (-2, -3, 1): "descending thirds",
    (-2, 1, -3): "descending thirds",
    (1, -2, 3): "ascending seconds",
    (1, 3, -2): "ascending seconds",
    (-1, -1): "descending by step",
    (1, 1): "ascending by step",
    (3, 3): "rising fourths",
    (-4, -4): "falling fifths",
    (-3, -3): "falling fourths",
    (4, 4): "rising fifths",
    (-2, -2): "falling thirds",
    (2, 2): "rising thirds",
}
# the same where something special is said of them
_SPECIAL: dict[tuple[tuple[int, ...], str], str] = {
    ((-1, -1), SIX_THREE): "parallel six-three chords",
    ((1, 1), SIX_THREE): "parallel six-three chords",
    ((1, -2, 3), "five-three and six-three chords in turn"): "ascending 5-6",
    ((1, 3, -2), APPLIED): "monte",
    ((-1, 3, -4), APPLIED): "fonte",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A sequence's label; `variants` say in words what is special: inversions, sevenths.

    >>> label = make_label(-1, (-4, -4))
    >>> label.text, label.common_name, label.spoken
    ('D2 (D5/A4)', 'descending fifths', 'falls a second, by way of a falling fifth')
    """

    step_degrees: int
    motions: tuple[int, ...]
    variants: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The label, such as 'D2 (D5/A4)'."""
        return f"{_written(self.step_degrees)} ({'/'.join(map(_written, self.motions))})"

    @property
    def common_name(self) -> str | None:
        """What it is usually called; None where it has no name of its own."""
        moves = (self.step_degrees, *self.motions)
        special = [_SPECIAL[moves, word] for word in self.variants if (moves, word) in _SPECIAL]
        return special[0] if special else _NAMES.get(moves)

    @property
    def spoken(self) -> str:
        """The label as one says it."""
        first = _moves(self.step_degrees, "falls", "rises")
        if len(self.motions) == 1:
            return f"{first} each time"
        by = [_moving(motion) for motion in self.motions[:-1]]
        return f"{first}, by way of {' and '.join(by)}"

    @property
    def said(self) -> str:
        """Everything in one line: label, name, variants."""
        moves = (self.step_degrees, *self.motions)
        special = [word for word in self.variants if (moves, word) not in _SPECIAL]
        words = [word for word in (self.common_name, *special) if word]
        return f"{self.text}: {', '.join(words)}" if words else self.text

    @property
    def cycle(self) -> tuple[int, ...]:
        """What it has in common with the same sequence started elsewhere: step and motions."""
        return (self.step_degrees % PLACES, *least_rotation(self.motions))


def make_label(
    step_degrees: int,
    motions: Sequence[int],
    variants: tuple[str, ...] = (),
    *,
    fourth_first: bool = False,
) -> Label:
    """Return the label of roots that move so, whichever way round the motions are given.

    Args:
        step_degrees: the step from link to link.
        motions: from root to root, in places up or down, the last to the next link's first root.
        variants: what is to be said besides.
        fourth_first: where two motions could change places, the smaller comes first: a rising
            fourth, then a falling fifth, where the fourth is that of a dominant to its tonic.
    """
    return Label(
        step_degrees=step_degrees,
        motions=_directed(step_degrees, tuple(m % PLACES for m in motions), fourth_first),
        variants=variants,
    )


def least_rotation(motions: Sequence[int]) -> tuple[int, ...]:
    """Return the least of the rotations of motions, counted in places up."""
    up = tuple(m % PLACES for m in motions)
    return min((up[i:] + up[:i] for i in range(len(up))), default=())


def without_returns(motions: Sequence[int]) -> tuple[int, ...]:
    """Return motions without those that go away and come back at once, an ornament to the rest.

    >>> without_returns((3, -3, 2))
    (2,)
    """
    kept: list[int] = []
    for motion in motions:
        if kept and (kept[-1] + motion) % PLACES == 0:
            kept.pop()
        else:
            kept.append(motion)
    return tuple(kept)


@lru_cache(maxsize=1024)
def _directed(step: int, motions: tuple[int, ...], fourth_first: bool) -> tuple[int, ...]:
    """Give each motion its direction: they add up to the step, with the least movement."""
    if len(motions) == 1:
        return (step,)
    options = product(*[[w for w in (m - PLACES, m) if abs(w) <= WIDEST] for m in motions])
    # the handbooks write the larger motion first: D5/A4, A5/D4
    ways = sorted(options, key=lambda way: [abs(m) for m in way], reverse=not fourth_first)
    return min(ways, key=lambda way: (abs(sum(way) - step), sum(abs(m) for m in way)))


def _written(motion: int) -> str:
    return f"{'D' if motion < 0 else 'A'}{abs(motion) + 1}"


def _interval(motion: int) -> str:
    size = abs(motion) + 1
    return _ORDINALS.get(size, f"{size}th")


def _article(word: str) -> str:
    return f"an {word}" if word in _AN else f"a {word}"


def _moves(motion: int, down: str, up: str) -> str:
    return f"{down if motion < 0 else up} {_article(_interval(motion))}"


def _moving(motion: int) -> str:
    return f"a {'falling' if motion < 0 else 'rising'} {_interval(motion)}"
