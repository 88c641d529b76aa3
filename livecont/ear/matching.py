"""Which played note is meant for which due note, one to one.

Conventions: indices into the due notes and the played notes. The same pitch nearest in time goes
first, then the same pitch an octave away, then any other note struck at that moment, the nearest in
pitch first: that one was played instead. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from livecont.ear.following import DueChord
from livecont.sequence.events import Note
from livecont.sequence.pattern import LinkNote

NEAR_S = 0.25  # farther from its moment no note is looked for, where notes are slow
NEAR_SHARE = 0.6  # of the time to the neighbouring chords, where they are fast
LEAST_NEAR_S = 0.1
INSTEAD_S = 0.12  # a wrong note is struck about when the right one was due
INSTEAD_SEMITONES = 12


@dataclass(frozen=True, slots=True)
class Pairing:
    """For each due note the played one, or None; and when each chord was due by the answer."""

    played_for: tuple[int | None, ...]
    chord_s: tuple[float | None, ...]


def pair(
    chords: Sequence[DueChord],
    notes: Sequence[LinkNote],
    times: Sequence[float | None],
    played: Sequence[Note],
) -> Pairing:
    """Pair the due notes with the played ones, given when each chord was played."""
    chord_s = _filled(chords, times)
    found: list[int | None] = [None] * len(notes)
    free = set(range(len(played)))
    for rank in (_same, _octave, _instead):
        options = []
        for g, chord in enumerate(chords):
            at_s = chord_s[g]
            if at_s is None:
                continue
            near_s = _near_s(chord_s, g, at_s)
            for i in chord.members:
                if found[i] is not None:
                    continue
                for j in free:
                    off_s = abs(played[j].onset_s - at_s)
                    cost = rank(notes[i].pitch, played[j].pitch, off_s, near_s)
                    if cost is not None:
                        options.append((cost, i, j))
        for _, i, j in sorted(options):
            if found[i] is None and j in free:
                found[i] = j
                free.discard(j)
    return Pairing(tuple(found), chord_s)


def _same(due: int, heard: int, off_s: float, near_s: float) -> float | None:
    return off_s if heard == due and off_s <= near_s else None


def _octave(due: int, heard: int, off_s: float, near_s: float) -> float | None:
    away = heard - due
    return abs(away) + off_s if away % 12 == 0 and abs(away) <= 24 and off_s <= near_s else None


def _instead(due: int, heard: int, off_s: float, near_s: float) -> float | None:
    if off_s > min(INSTEAD_S, near_s) or abs(heard - due) > INSTEAD_SEMITONES:
        return None
    return abs(heard - due) + 10 * off_s


def _near_s(chord_s: Sequence[float | None], g: int, here: float) -> float:
    """How far from its moment a chord's notes are looked for."""
    gaps = [
        abs(other - here)
        for n in (g - 1, g + 1)
        if 0 <= n < len(chord_s) and (other := chord_s[n]) is not None
    ]
    share = NEAR_SHARE * min(gaps) if gaps else NEAR_S
    return max(LEAST_NEAR_S, min(NEAR_S, share))


def _filled(chords: Sequence[DueChord], times: Sequence[float | None]) -> tuple[float | None, ...]:
    """Give chords that were not found the time at which they were due by their neighbours."""
    known = [(chord.offset_s, t) for chord, t in zip(chords, times, strict=True) if t is not None]
    if not known:
        return tuple(times)

    def at(offset_s: float) -> float:
        before = [one for one in known if one[0] <= offset_s]
        after = [one for one in known if one[0] >= offset_s]
        if not before or not after:
            (first, first_s), (last, last_s) = known[0], known[-1]
            tempo = (last_s - first_s) / (last - first) if last > first else 1.0
            end, end_s = known[-1] if before else known[0]
            return end_s + tempo * (offset_s - end)
        (a, a_s), (b, b_s) = before[-1], after[0]
        return a_s if b <= a else a_s + (b_s - a_s) * (offset_s - a) / (b - a)

    return tuple(
        at(chord.offset_s) if t is None else t for chord, t in zip(chords, times, strict=True)
    )
