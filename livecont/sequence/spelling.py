"""Spelling the notes of two links, so that each image lies a step from its model.

A pitch inside the key has one spelling; a foreign one may have two. Of the spellings that make the
step right, those nearest to the rest of the links on the line of fifths are taken: a flat beside
flats, a sharp beside sharps (common practice; the line of fifths as in Temperley 2001).

Conventions: MIDI numbers in, `Spelling` out; None where a link has no such note.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from livecont.music.key import Key
from livecont.music.pitch import Spelling

# the middle of the twelve fifths that a key usually spells with, from its signature
USUAL_MIDDLE = 2.5
# how many notes the key itself counts for, when the middle of what is played is taken
KEY_WEIGHT = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A note and its image, as MIDI numbers; `step` in degrees, octaves included."""

    earlier: int | None
    later: int | None
    step: int


@lru_cache(maxsize=1 << 12)
def options(earlier: int, later: int, step: int, key: Key) -> tuple[tuple[Spelling, Spelling], ...]:
    """Return the spellings under which `later` lies `step` degrees from `earlier`, usual first."""
    found = [
        (i + j, x, y)
        for i, x in enumerate(key.spellings(earlier))
        for j, y in enumerate(key.spellings(later))
        if y.staff - x.staff == step
    ]
    return tuple((x, y) for _, x, y in sorted(found))


def spell_pairs(
    pairs: tuple[Pair, ...], key: Key
) -> tuple[tuple[Spelling | None, Spelling | None], ...]:
    """Return the pairs spelled, in their order."""
    middle = _middle(pairs, key)

    def away(*spelled: Spelling) -> float:
        return sum(abs(s.fifths - middle) for s in spelled)

    result: list[tuple[Spelling | None, Spelling | None]] = []
    for pair in pairs:
        if pair.earlier is not None and pair.later is not None:
            fitting = options(pair.earlier, pair.later, pair.step, key)
            if fitting:
                result.append(min(fitting, key=lambda both: away(*both)))
                continue
        result.append(
            (
                None if pair.earlier is None else min(key.spellings(pair.earlier), key=away),
                None if pair.later is None else min(key.spellings(pair.later), key=away),
            )
        )
    return tuple(result)


def _middle(pairs: tuple[Pair, ...], key: Key) -> float:
    """The middle, on the line of fifths, of the notes that can be spelled in one way only."""
    total = KEY_WEIGHT * (key.fifths + USUAL_MIDDLE)
    weight = KEY_WEIGHT
    for pair in pairs:
        if pair.earlier is None or pair.later is None:
            continue
        fitting = options(pair.earlier, pair.later, pair.step, key)
        if len(fitting) == 1:
            total += fitting[0][0].fifths + fitting[0][1].fifths
            weight += 2
    return total / weight
