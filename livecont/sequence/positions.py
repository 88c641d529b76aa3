"""The notes of one link, as the two latest links tell them together.

Conventions: offsets in units from each link's start. A position holds the spelled note of the
earlier and of the later link, None where one of them has no such note.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.alignment import Alignment
from livecont.sequence.groups import Groups, HeardNote
from livecont.sequence.pattern import Position
from livecont.sequence.spelling import Pair, options, spell_pairs
from livecont.sequence.tempo import Timing, first_early

# notes farther than this from where their image leads them to be are not each other's image
FARTHEST_S = 0.15
FARTHEST_UNITS = 0.08
# of a chord's spread, how much is kept as touch; the rest is chance
SPREAD_KEPT = 0.5
OCTAVE_STEPS = 7
# a brushed key sounds so near to the one meant, or so much softer than the link's notes [fit]
SLIP_S = 0.09
SLIP_SOFT = 0.5


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
    frame = _Frame(timing=timing, now_s=now_s)
    notes: list[tuple[_Played | None, _Played | None, int]] = [*pairs]
    paired = {id(note) for a, b, _ in pairs for note in (a, b)}
    notes += [(None, b, 0) for b in later if id(b) not in paired and not _slip(b, later)]
    notes += [(a, None, 0) for a in earlier if id(a) not in paired]
    spelled = spell_pairs(
        tuple(
            Pair(
                earlier=a.note.pitch if a is not None else None,
                later=b.note.pitch if b is not None else None,
                step=alignment.step_degrees + OCTAVE_STEPS * octave,
            )
            for a, b, octave in notes
        ),
        key,
    )
    found = [
        _position(a, b, _in_line(heard, octave), frame)
        for (a, b, octave), heard in zip(notes, spelled, strict=True)
    ]
    # a note past the link's end belongs to the next one, which sounds it itself
    found = [position for position in found if position.offset_units < 1.0]
    return tuple(sorted(found, key=lambda p: (round(p.offset_units, 6), _lowest(p))))


def respelled(positions: tuple[Position, ...], step_degrees: int, key: Key) -> tuple[Position, ...]:
    """Return positions of two links with their notes spelled in another key."""
    pairs = tuple(
        Pair(
            earlier=None if (earlier := position.heard[-2]) is None else earlier.midi,
            later=None if (later := position.heard[-1]) is None else later.midi,
            step=step_degrees,
        )
        for position in positions
    )
    return tuple(
        replace(position, heard=heard)
        for position, heard in zip(positions, spell_pairs(pairs, key), strict=True)
    )


def _in_line(
    heard: tuple[Spelling | None, Spelling | None], octave: int
) -> tuple[Spelling | None, Spelling | None]:
    """As if a part that leapt an octave had moved with the rest: it keeps its later octave."""
    earlier, later = heard
    if earlier is None or octave == 0:
        return heard
    return Spelling(earlier.staff + OCTAVE_STEPS * octave, earlier.alter), later


def _slip(note: _Played, link: list[_Played]) -> bool:
    """Whether a note that only the later link has is a brush of a neighbouring key.

    It comes with a note a semitone or a tone away, or is struck far softer than the rest.
    """
    near = any(
        other is not note
        and abs(other.note.onset_s - note.note.onset_s) < SLIP_S
        and 0 < abs(other.note.pitch - note.note.pitch) <= 2
        and other.note.velocity >= note.note.velocity
        for other in link
    )
    velocities = sorted(other.note.velocity for other in link)
    return near or note.note.velocity < SLIP_SOFT * velocities[len(velocities) // 2]


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
                rank = _rank(a.note.pitch, b.note.pitch, step + OCTAVE_STEPS * octave, key)
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


@lru_cache(maxsize=1 << 12)
def _rank(earlier: int, later: int, step: int, key: Key) -> int | None:
    """How unusual the spellings are that make the step right; None where none does."""
    fitting = options(earlier, later, step, key)
    if not fitting:
        return None
    x, y = fitting[0]
    return (x != key.spell(earlier)) + (y != key.spell(later))


def _position(
    a: _Played | None,
    b: _Played | None,
    heard: tuple[Spelling | None, Spelling | None],
    frame: _Frame,
) -> Position:
    timing = frame.timing
    played = [p for p in (a, b) if p is not None]
    units = [u for p, u in ((a, timing.earlier_unit_s), (b, timing.unit_s)) if p is not None]
    sounded = [_sounded_s(p.note, frame.now_s) / u for p, u in zip(played, units, strict=True)]
    if b is not None and b.note.release_s is None:
        # still held: at least as long as its model
        sounded[-1] = max(sounded)
    count = len(played)
    return Position(
        offset_units=sum(p.group_offset + SPREAD_KEPT * p.spread for p in played) / count,
        articulation=sum(sounded) / count,
        velocity=round(sum(p.note.velocity for p in played) / count),
        channel=played[-1].note.channel,
        heard=heard,
    )


def _sounded_s(note: HeardNote, now_s: float) -> float:
    """How long the key was down; up to now where it still is."""
    end_s = note.release_s if note.release_s is not None else now_s
    return max(end_s - note.onset_s, 0.02)
