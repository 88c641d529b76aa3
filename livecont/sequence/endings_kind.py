"""A pattern counted the other way: a tonal chain made real, a real one tonal.

Conventions: as in `sequence.pattern`. The links played stay what they are; what follows changes.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from livecont.sequence.pattern import Kind, Pattern


def of_kind(pattern: Pattern, kind: Kind) -> Pattern:
    """Return the pattern counted the other way, so that the player may hear both.

    Real: every link is the latest one moved by the semitones that most of its notes moved by.
    Tonal: every link keeps to the key's signature. A pattern of that kind already stays as it is.
    """
    if kind is pattern.kind:
        return pattern
    if kind is Kind.REAL:
        moves = Counter(
            later.midi - earlier.midi
            for p in pattern.positions
            if (earlier := p.heard[-2]) is not None and (later := p.heard[-1]) is not None
        )
        if not moves:
            return pattern
        most = max(moves.values())
        shift = min((m for m in moves if moves[m] == most), key=abs)
        return replace(pattern, kind=kind, shift_semitones=shift)
    positions = tuple(
        replace(
            p, heard=tuple(None if s is None else pattern.key.natural(s.staff) for s in p.heard)
        )
        for p in pattern.positions
    )
    return replace(pattern, kind=kind, shift_semitones=None, positions=positions, before=())
