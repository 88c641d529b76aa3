"""The notes of one link, as the two latest links tell them together.

Conventions: offsets in units from each link's start. A position holds the spelled note of the
earlier and of the later link, None where one of them has no such note.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.alignment import Alignment
from livecont.sequence.groups import Groups, HeardNote
from livecont.sequence.pattern import Position
from livecont.sequence.tempo import Timing, first_early

# notes farther than this from where their image leads them to be are not each other's image
FARTHEST_S = 0.15
FARTHEST_UNITS = 0.08
# of a chord's spread, how much is kept as touch; the rest is chance
SPREAD_KEPT = 0.5
OCTAVE_STEPS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class _Played:
    """A note of one link with its place in it."""

    note: HeardNote
    group_offset: float  # of its chord, in units
    spread: float  # after its chord's first note, in units

    @property
    def offset(self) -> float:
        return self.group_offset + self.spread


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """What all notes of the links share."""

    step_degrees: int
    key: Key
    timing: Timing
    now_s: float


def positions_of(
    alignment: Alignment, timing: Timing, groups: Groups, key: Key, now_s: float
) -> tuple[Position, ...]:
    """Return the link's positions by offset, then pitch."""
    later = _link_notes(
        groups, alignment.first_late, alignment.last_late, timing.later_start_s, timing.unit_s
    )
    first = first_early(alignment, timing.start_s, groups)
    earlier = _link_notes(
        groups, first, alignment.first_late - 1, timing.start_s, timing.earlier_unit_s
    )
    pairs = _pairs(earlier, later, alignment.step_degrees, key, timing.unit_s)
    images = {id(b): a for a, b, _ in pairs}
    octaves = {id(b): octave for _, b, octave in pairs}
    used = {id(a) for a, _, _ in pairs}
    frame = _Frame(step_degrees=alignment.step_degrees, key=key, timing=timing, now_s=now_s)
    found = [_position(images.get(id(b)), b, frame, octaves.get(id(b), 0)) for b in later]
    found += [_position(a, None, frame) for a in earlier if id(a) not in used]
    return tuple(sorted(found, key=lambda p: (round(p.offset_units, 6), _lowest(p))))


def _lowest(position: Position) -> int:
    return min(spelling.midi for spelling in position.heard if spelling is not None)


def _link_notes(
    groups: Groups, first: int, last: int, start_s: float, unit_s: float
) -> list[_Played]:
    return [
        _Played(
            note=note,
            group_offset=(groups[number].onset_s - start_s) / unit_s,
            spread=(note.onset_s - groups[number].onset_s) / unit_s,
        )
        for number in range(max(first, groups.first), last + 1)
        for note in groups[number].notes
    ]


def _pairs(
    earlier: list[_Played], later: list[_Played], step: int, key: Key, unit_s: float
) -> list[tuple[_Played, _Played, int]]:
    """Which note is whose image, one to one, the surest first; and octaves between them."""
    farthest = max(FARTHEST_UNITS, FARTHEST_S / unit_s)
    options = []
    begin = 0
    for j, b in enumerate(later):
        while begin < len(earlier) and earlier[begin].offset < b.offset - 2 * farthest:
            begin += 1
        for i in range(begin, len(earlier)):
            a = earlier[i]
            if a.offset > b.offset + 2 * farthest:
                break
            away = abs(a.offset - b.offset)
            if away > farthest:
                continue
            for octave in (0, -1, 1):
                rank = _step_rank(a.note.pitch, b.note.pitch, step + OCTAVE_STEPS * octave, key)
                if rank is not None:
                    cost = 0.3 * rank + 1.5 * abs(octave) + away / farthest
                    options.append((cost, i, j, octave))
    options.sort()
    taken_early: set[int] = set()
    taken_late: set[int] = set()
    pairs = []
    for _, i, j, octave in options:
        if i not in taken_early and j not in taken_late:
            taken_early.add(i)
            taken_late.add(j)
            pairs.append((earlier[i], later[j], octave))
    return pairs


def _step_rank(a: int, b: int, step: int, key: Key) -> int | None:
    """How unusual the spellings are under which b lies a step from a; None where none does."""
    ranks = [
        i + j
        for i, x in enumerate(key.spellings(a))
        for j, y in enumerate(key.spellings(b))
        if y.staff - x.staff == step
    ]
    return min(ranks, default=None)


def _spell_pair(a: int, b: int, step: int, key: Key) -> tuple[Spelling, Spelling]:
    options = [
        (i + j, x, y)
        for i, x in enumerate(key.spellings(a))
        for j, y in enumerate(key.spellings(b))
        if y.staff - x.staff == step
    ]
    _, x, y = min(options)
    return x, y


def _position(
    a: _Played | None,
    b: _Played | None,
    frame: _Frame,
    octave: int = 0,
) -> Position:
    played = [p for p in (a, b) if p is not None]
    units = [
        unit
        for p, unit in ((a, frame.timing.earlier_unit_s), (b, frame.timing.unit_s))
        if p is not None
    ]
    heard: tuple[Spelling | None, Spelling | None]
    if a is not None and b is not None:
        x, y = _spell_pair(
            a.note.pitch, b.note.pitch, frame.step_degrees + OCTAVE_STEPS * octave, frame.key
        )
        # as if the part had moved with the rest: the next link keeps the later octave
        heard = (Spelling(x.staff + OCTAVE_STEPS * octave, x.alter), y)
    else:
        heard = (
            frame.key.spell(a.note.pitch) if a is not None else None,
            frame.key.spell(b.note.pitch) if b is not None else None,
        )
    count = len(played)
    return Position(
        offset_units=sum(p.group_offset + SPREAD_KEPT * p.spread for p in played) / count,
        articulation=sum(
            _sounded_s(p.note, frame.now_s) / unit for p, unit in zip(played, units, strict=True)
        )
        / count,
        velocity=round(sum(p.note.velocity for p in played) / count),
        channel=played[-1].note.channel,
        heard=heard,
    )


def _sounded_s(note: HeardNote, now_s: float) -> float:
    """How long the key was down; up to now where it still is."""
    end_s = note.release_s if note.release_s is not None else now_s
    return max(end_s - note.onset_s, 0.02)
