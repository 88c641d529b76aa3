"""Which pitches the next link has, by rules that the links played must bear out.

Conventions: `staff`, `alter` and degrees as in `music.pitch` and `music.key`. A position's place on
the staff in the next link is its last place moved by the step; the rules choose its accidental.
Rules are decided by the first two links (`heard[0]`, `heard[1]`), later ones only say where the
chain has got to, so that a chain does not drift on what it sounded itself.
"""

from __future__ import annotations

from collections import Counter

from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.pattern import Kind, Position


def carry_on(
    positions: tuple[Position, ...],
    step_degrees: int,
    key: Key,
    before: tuple[Spelling, ...] = (),
) -> tuple[Spelling | None, ...]:
    """Return each position's pitch in the link after the last one in `heard`.

    Args:
        positions: the link's notes, each with at least two links in `heard`.
        step_degrees: diatonic places from link to link.
        key: the key played in.
        before: pitches heard before link 1, oldest first; may be empty.

    Returns:
        One entry a position; None leaves the note out.
    """
    kind, shift = kind_of(positions, step_degrees, key)
    last = {p.letter: p.alter for p in before[-8:]}
    for link in (0, 1):
        last |= {h.letter: h.alter for p in positions if (h := p.heard[link]) is not None}
    result: list[Spelling | None] = []
    for position in positions:
        newest = position.heard[-1]
        if newest is None:
            result.append(None)
            continue
        staff = newest.staff + step_degrees
        if kind is Kind.REAL and shift is not None:
            result.append(Spelling(staff, newest.midi + shift - Spelling(staff, 0).midi))
        else:
            result.append(Spelling(staff, last.get(staff % 7, key.signature_alter(staff))))
    return tuple(result)


def kind_of(
    positions: tuple[Position, ...], step_degrees: int, key: Key
) -> tuple[Kind, int | None]:
    """Return how the step is counted, and the shift in semitones where it is the same for all."""
    pairs = [(p.heard[0], p.heard[1]) for p in positions]
    known = [(a, b) for a, b in pairs if a is not None and b is not None]
    shifts = Counter(b.midi - a.midi for a, b in known)
    foreign = [b for _, b in known if b.alter != key.signature_alter(b.staff)]
    if len(shifts) == 1:
        return (Kind.REAL if foreign else Kind.TONAL), next(iter(shifts))
    return (Kind.MIXED if foreign else Kind.TONAL), None
