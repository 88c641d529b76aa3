"""The shape of a link: which tones sound together, which follow each other, which are alike.

Conventions: times are in units (1.0 = one link) from the link's start. A tone is a position that
the second link has. Tones of one letter that have the same accidental in the first link and the
same in the second play one role: they are altered alike in the next link. Indices of tones count in
order of time, then of pitch, so that the order in which positions are handed in does not matter.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.pitch import Spelling
from livecont.sequence.pattern import Position

# onsets nearer than this share of the mean distance of onsets, and at most so many units, are one
# chord: its notes spread by some 30 ms (Goebl 2001); sounding over so little is touch, not harmony
CHORD_SHARE = 0.35
CHORD_UNITS = 0.08
# a voice that rests may go on after this many other onsets
VOICE_ONSETS = 3
WIDEST_LEAP = 4  # places on the staff from a tone to the next of its voice


@dataclass(frozen=True, slots=True)
class Tone:
    """A note of the second link, and of the first where that has it; `index` of its position."""

    at: float
    until: float
    one: Spelling | None
    two: Spelling
    index: int


@dataclass(frozen=True, slots=True)
class Figure:
    """The tones of a link and how they stand to each other.

    `roles` lists the tones of each role, `role_of` the role of each tone; `together` and
    `following` are pairs of tones, `following` in order of time; `bass` is the lowest tone that
    sounds where a tone begins; `before` the tone that a tone comes from, or None; `first` and
    `last` the tones of the first and of the last chord. `meetings` are the roles whose tones meet,
    each two with the ways they do: in melody or not, the earlier role the lower or not.
    """

    tones: tuple[Tone, ...]
    roles: tuple[tuple[int, ...], ...]
    role_of: tuple[int, ...]
    together: tuple[tuple[int, int], ...]
    following: tuple[tuple[int, int], ...]
    bass: tuple[int, ...]
    before: tuple[int | None, ...]
    first: tuple[int, ...]
    last: tuple[int, ...]
    meetings: tuple[tuple[int, int, tuple[tuple[bool, bool], ...]], ...]
    later: int  # which of the links heard is the later one of the two

    @property
    def start(self) -> float:
        """When the first tone begins."""
        return self.tones[0].at


def pedal_of(positions: tuple[Position, ...], played: int = 2) -> int | None:
    """Return which position is a pedal point: one bass note in place in both links, unmoved.

    A bass that stays while all else moves on stays in the next link, too (common practice). Of
    several unmoved notes none is one: they are chord notes that two links happen to share.
    """
    heard = [
        (index, p, p.heard[played - 2], p.heard[played - 1]) for index, p in enumerate(positions)
    ]
    found = [
        (index, p)
        for index, p, one, two in heard
        if one is None
        and two is not None
        and any(
            other == two and none is None and abs(q.offset_units - p.offset_units) <= CHORD_UNITS
            for _, q, other, none in heard
        )
    ]
    if len(found) != 1:
        return None
    index, pedal = found[0]
    bass = pedal.heard[played - 1]
    near = [p for p in positions if abs(p.offset_units - pedal.offset_units) <= CHORD_UNITS]
    low = all(
        h is None or bass is None or h.midi >= bass.midi
        for p in near
        for h in p.heard[played - 2 : played]
    )
    return index if low else None


def figure_of(
    positions: tuple[Position, ...], played: int = 2, pedal: int | None = None
) -> Figure | None:
    """Return the figure of the last two links played, None where nothing moves on.

    Args:
        positions: the link's notes.
        played: how many of the links heard the player played.
        pedal: the position that stays, see `pedal_of`.
    """
    found = [tone for tone in _tones(positions, played) if tone.index != pedal]
    if not found:
        return None
    groups, spread = _groups(found)
    tones = tuple(tone for group in groups for tone in group)
    numbered: list[list[int]] = []
    for group in groups:
        begin = numbered[-1][-1] + 1 if numbered else 0
        numbered.append(list(range(begin, begin + len(group))))
    together, bass = _together(tones, numbered, spread)
    following, before = _following(tones, numbered)
    kinds: dict[tuple[int, int | None, int], list[int]] = {}
    for i, tone in enumerate(tones):
        one = tone.one.alter if tone.one is not None else None
        kinds.setdefault((tone.two.letter, one, tone.two.alter), []).append(i)
    role_of = [0] * len(tones)
    for role, members in enumerate(kinds.values()):
        for i in members:
            role_of[i] = role
    return Figure(
        tones=tones,
        roles=tuple(tuple(members) for members in kinds.values()),
        role_of=tuple(role_of),
        together=tuple(sorted(together)),
        following=tuple(sorted(following)),
        bass=bass,
        before=before,
        first=tuple(numbered[0]),
        last=tuple(numbered[-1]),
        meetings=_meetings(tones, role_of, together, following),
        later=played - 1,
    )


def _meetings(
    tones: tuple[Tone, ...],
    role_of: list[int],
    together: set[tuple[int, int]],
    following: set[tuple[int, int]],
) -> tuple[tuple[int, int, tuple[tuple[bool, bool], ...]], ...]:
    """The roles whose tones meet, and how; tones that sound at once are no melody."""
    found: dict[tuple[int, int], set[tuple[bool, bool]]] = {}
    for melodic, pairs in ((False, together), (True, following - together)):
        for i, j in pairs:
            v, w = role_of[i], role_of[j]
            if v == w:
                continue
            rising = tones[i].two.staff <= tones[j].two.staff
            found.setdefault((min(v, w), max(v, w)), set()).add((melodic, rising == (v < w)))
    return tuple((v, w, tuple(sorted(kinds))) for (v, w), kinds in sorted(found.items()))


def _tones(positions: tuple[Position, ...], played: int) -> list[Tone]:
    found = []
    for index, p in enumerate(positions):
        one, two = p.heard[played - 2], p.heard[played - 1]
        if two is not None:
            found.append(Tone(p.offset_units, p.offset_units + p.articulation, one, two, index))
    found.sort(key=lambda t: t.at)
    return found


def _groups(tones: list[Tone]) -> tuple[list[list[Tone]], float]:
    """Chords of onsets, each from low to high and at one time, and how far a chord may spread."""
    spread = CHORD_UNITS
    groups = _gather(tones, spread)
    while len(groups) * spread > CHORD_SHARE:
        spread = CHORD_SHARE / len(groups)
        finer = _gather(tones, spread)
        if len(finer) == len(groups):
            break
        groups = finer
    return [
        sorted(
            (Tone(group[0].at, t.until, t.one, t.two, t.index) for t in group),
            key=lambda t: (t.two.staff, t.two.alter, _order(t.one), t.until),
        )
        for group in groups
    ], spread


def _gather(tones: list[Tone], spread: float) -> list[list[Tone]]:
    groups: list[list[Tone]] = []
    for tone in tones:
        if groups and tone.at - groups[-1][0].at <= spread:
            groups[-1].append(tone)
        else:
            groups.append([tone])
    return groups


def _order(spelling: Spelling | None) -> tuple[int, int]:
    return (-1000, 0) if spelling is None else (spelling.staff, spelling.alter)


def _together(
    tones: tuple[Tone, ...], groups: list[list[int]], spread: float
) -> tuple[set[tuple[int, int]], tuple[int, ...]]:
    """Pairs that sound at once where one of them begins; the bass under every tone."""
    pairs: set[tuple[int, int]] = set()
    bass: list[int] = []
    held: list[int] = []
    for group in groups:
        at = tones[group[0]].at
        held = [i for i in held if tones[i].until > at + spread]
        sounding = held + group
        lowest = min(sounding, key=lambda i: (tones[i].two.staff, i))
        bass += [lowest] * len(group)
        pairs.update((i, j) for j in group for i in sounding if i < j)
        held = sounding
    return pairs, tuple(bass)


def _following(
    tones: tuple[Tone, ...], groups: list[list[int]]
) -> tuple[set[tuple[int, int]], tuple[int | None, ...]]:
    """Each tone with the next of its voice: near at the next onset, or by step a little later."""
    pairs: set[tuple[int, int]] = set()
    before: list[int | None] = [None] * len(tones)
    for g, group in enumerate(groups):
        for i in group:
            place = tones[i].two.staff
            for later, after in enumerate(groups[g + 1 : g + 1 + VOICE_ONSETS]):
                distance, j = min((abs(tones[j].two.staff - place), j) for j in after)
                if distance > (WIDEST_LEAP if later == 0 else 1):
                    continue
                pairs.add((i, j))
                if before[j] is None:
                    before[j] = i
                if distance <= 2:
                    break
    return pairs, tuple(before)
