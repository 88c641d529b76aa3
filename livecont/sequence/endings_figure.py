"""What a link is made of: its two hands, its harmonies, and every note's part in its harmony.

Conventions: offsets in units from the link's start; staff places as in `music.pitch`; a root is a
letter (C = 0 ... B = 6) in the latest link played. Harmonies are told by letters only: that is all
that is needed to set the same figure on another root. Every note is a chord tone, counted on the
ladder of its triad (3 rungs an octave), or leans on one so many places above or below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from livecont.music.pitch import Spelling
from livecont.sequence.endings_leading import LOWER, TOGETHER_UNITS, UPPER, Struck
from livecont.sequence.pattern import Pattern, Position

# where harmonies change inside a link (common practice: at its beats)
BOUNDARIES = (0.0, 1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4, 1.0)
RUNGS = (0, 2, 4)
# how much a note's place in a triad speaks for the triad: root, third, fifth; a seventh; others
SPEAKS_FOR = {0: 1.0, 2: 0.9, 4: 0.8, 6: 0.1}
SPEAKS_AGAINST = -1.0
BASS_SPEAKS = {0: 0.5, 2: 0.3}
# a further harmony must explain so much more of the link
CHANGE_COST = 0.12
HEAD_WEIGHT = 1.6
WIDE_HANDS = 15
DISSONANT = (1, 3, 6)  # seconds, fourths and sevenths above the bass, in places


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """A note of the link: its position's index, when, how long, which hand, where."""

    index: int
    offset: float
    length: float
    part: int
    staff: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaning:
    """A note's part in its harmony: on a rung of the ladder, or so many places from it."""

    tone: Tone
    rung: int
    away: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A harmony of the link with its notes."""

    start: float
    end: float
    root: int
    notes: tuple[Leaning, ...]

    def part(self, part: int) -> tuple[Leaning, ...]:
        """Return the notes of one hand, by offset."""
        return tuple(note for note in self.notes if note.tone.part == part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A link taken apart."""

    tones: tuple[Tone, ...]
    cells: tuple[Cell, ...]

    def struck(self, spelled: Sequence[Spelling | None]) -> list[Struck]:
        """Return the notes of a link for its voice leading, given the pitch of each position."""
        return [
            Struck(tone.offset, tone.part, pitch.midi)
            for tone in self.tones
            if (pitch := spelled[tone.index]) is not None
        ]


def figure_of(pattern: Pattern) -> Figure:
    """Take the latest link of a pattern apart."""
    heard = [(i, p, s) for i, p in enumerate(pattern.positions) if (s := p.heard[-1]) is not None]
    heard.sort(key=lambda one: (one[1].offset_units, one[2].midi))
    parts = _parts(heard)
    tones = tuple(
        Tone(
            index=i,
            offset=max(0.0, position.offset_units),
            length=position.articulation,
            part=part,
            staff=spelling.staff,
        )
        for (i, position, spelling), part in zip(heard, parts, strict=True)
    )
    spans = _harmonies(_resolved(tones))
    cells = tuple(_cell(tones, start, end, root) for start, end, root in spans)
    return Figure(tones=tones, cells=tuple(cell for cell in cells if cell.notes))


def root_of(cell: Cell, spelled: Sequence[Spelling | None]) -> int:
    """Return the letter of a cell's root in a link, wherever the link lies and is spelled."""
    for note in cell.notes:
        pitch = spelled[note.tone.index]
        if pitch is not None:
            return (cell.root + pitch.staff - note.tone.staff) % 7
    return cell.root


def groups(tones: Sequence[Tone]) -> list[list[Tone]]:
    """Gather notes that are struck together, in order of time."""
    found: list[list[Tone]] = []
    for tone in tones:
        if found and tone.offset - found[-1][0].offset <= TOGETHER_UNITS:
            found[-1].append(tone)
        else:
            found.append([tone])
    return found


def rung_of(staff: int, root: int) -> int | None:
    """Return a note's rung on the ladder of the triad on a root; None between the rungs."""
    octave, place = divmod(staff - root, 7)
    return 3 * octave + RUNGS.index(place) if place in RUNGS else None


def on_rung(rung: int, root: int) -> int:
    """Return the staff place of a rung."""
    octave, place = divmod(rung, 3)
    return root + 7 * octave + RUNGS[place]


def _parts(heard: Sequence[tuple[int, Position, Spelling]]) -> list[int]:
    """Which hand plays each note: split where the wider of the two spans is smallest.

    A single line is one part, the upper; chords that lie too close for two hands have their
    lowest notes for a lower part.
    """
    pitches = sorted({spelling.midi for _, _, spelling in heard})
    together = _struck_together(heard)
    if max(map(len, together), default=0) < 2 and not _overlap(heard):
        return [UPPER] * len(heard)
    if pitches[-1] - pitches[0] > WIDE_HANDS:
        split = min(
            range(1, len(pitches)),
            key=lambda i: (
                max(pitches[i - 1] - pitches[0], pitches[-1] - pitches[i]),
                pitches[i - 1] - pitches[i],
            ),
        )
        return [LOWER if s.midi < pitches[split] else UPPER for _, _, s in heard]
    lowest = {group[0] for group in together if len(group) > 1}
    return [LOWER if i in lowest else UPPER for i in range(len(heard))]


def _struck_together(heard: Sequence[tuple[int, Position, Spelling]]) -> list[list[int]]:
    found: list[list[int]] = []
    first = 0.0
    for i, (_, position, _) in enumerate(heard):
        if found and position.offset_units - first <= TOGETHER_UNITS:
            found[-1].append(i)
            found[-1].sort(key=lambda j: heard[j][2].midi)
        else:
            found.append([i])
            first = position.offset_units
    return found


def _overlap(heard: Sequence[tuple[int, Position, Spelling]]) -> bool:
    """Whether notes are held well into others: more than a legato."""
    return any(
        a.offset_units + a.articulation > c.offset_units + TOGETHER_UNITS
        for (_, a, _), (_, _, _), (_, c, _) in zip(heard, heard[1:], heard[2:], strict=False)
    )


# --- harmonies ----------------------------------------------------------------------------------


def _harmonies(tones: Sequence[Tone]) -> list[tuple[float, float, int]]:
    """Cut the link into harmonies: the roots and boundaries that explain most of its notes."""
    best: list[tuple[float, list[tuple[float, float, int]]]] = [(0.0, [])]
    for j, end in enumerate(BOUNDARIES[1:], 1):
        options = []
        for i, start in enumerate(BOUNDARIES[:j]):
            if i and not _begins_at(tones, start):
                continue
            root, merit = _root(tones, start, end)
            total = best[i][0] + merit - (CHANGE_COST if i else 0.0)
            options.append((total, [*best[i][1], (start, end, root)]))
        best.append(max(options, key=lambda option: option[0]))
    return _joined(best[-1][1])


def _resolved(tones: Sequence[Tone]) -> list[Tone]:
    """The tones with dissonances over the bass that fall by step taken as what they fall to.

    So a suspension speaks for the harmony that it resolves into (common practice).
    """
    found = []
    for tone in tones:
        line = [t for t in tones if t.part == tone.part and t.offset > tone.offset + TOGETHER_UNITS]
        sounding = [
            t.staff
            for t in tones
            if t.offset <= tone.offset + TOGETHER_UNITS < t.offset + max(t.length, 0.05)
        ]
        falls = bool(line) and line[0].staff == tone.staff - 1
        dissonant = (tone.staff - min(sounding, default=tone.staff)) % 7 in DISSONANT
        found.append(replace(tone, staff=tone.staff - 1) if falls and dissonant else tone)
    return found


def _begins_at(tones: Sequence[Tone], start: float) -> bool:
    """Whether a harmony may begin here: the lower hand strikes, where there is one."""
    parts = {tone.part for tone in tones}
    return any(
        abs(tone.offset - start) <= TOGETHER_UNITS and tone.part == min(parts) for tone in tones
    )


def _joined(spans: list[tuple[float, float, int]]) -> list[tuple[float, float, int]]:
    joined: list[tuple[float, float, int]] = []
    for start, end, root in spans:
        if joined and joined[-1][2] == root:
            joined[-1] = (joined[-1][0], end, root)
        else:
            joined.append((start, end, root))
    return joined


def _root(tones: Sequence[Tone], start: float, end: float) -> tuple[int, float]:
    """The root that explains a span best, and how much of the link it explains."""
    weights = [0.0] * 7
    for tone in tones:
        sounded = min(tone.offset + tone.length, end) - max(tone.offset, start)
        if sounded > 0 and tone.offset < end - TOGETHER_UNITS:
            head = abs(tone.offset - start) <= TOGETHER_UNITS
            weights[tone.staff % 7] += sounded * (HEAD_WEIGHT if head else 1.0)
    total = sum(weights)
    if total <= 0:
        return 0, 0.0
    inside = [t for t in tones if start - TOGETHER_UNITS <= t.offset < end - TOGETHER_UNITS]
    bass = min((t.staff for t in groups(inside)[0]), default=None) if inside else None
    merits = []
    for root in range(7):
        merit = sum(
            weight * SPEAKS_FOR.get((letter - root) % 7, SPEAKS_AGAINST)
            for letter, weight in enumerate(weights)
        )
        merit /= total
        if bass is not None:
            merit += BASS_SPEAKS.get((bass - root) % 7, 0.0)
        merits.append(merit * (end - start))
    root = max(range(7), key=lambda r: merits[r])
    return root, merits[root]


# --- figuration ---------------------------------------------------------------------------------


def _cell(tones: Sequence[Tone], start: float, end: float, root: int) -> Cell:
    inside = [t for t in tones if start - TOGETHER_UNITS <= t.offset < end - TOGETHER_UNITS]
    found = []
    for part in (LOWER, UPPER):
        line = [tone for tone in inside if tone.part == part]
        found += [_leaning(line, tone, root) for tone in line]
    found.sort(key=lambda note: (note.tone.offset, note.tone.staff))
    return Cell(start=start, end=end, root=root, notes=tuple(found))


def _leaning(line: Sequence[Tone], tone: Tone, root: int) -> Leaning:
    """A chord tone; or what it leans on: the note it goes to, or else comes from, by step."""
    rung = rung_of(tone.staff, root)
    if rung is not None:
        return Leaning(tone=tone, rung=rung, away=0)
    later = [t for t in line if t.offset > tone.offset + TOGETHER_UNITS]
    earlier = [t for t in reversed(line) if t.offset < tone.offset - TOGETHER_UNITS]
    for other in (*later[:2], *earlier[:2]):
        rung = rung_of(other.staff, root)
        if rung is not None and abs(other.staff - tone.staff) <= 2:
            return Leaning(tone=tone, rung=rung, away=tone.staff - other.staff)
    # a seventh, or a note that goes nowhere: it leans on the rung above
    away = next(n for n in range(1, 7) if rung_of(tone.staff + n, root) is not None)
    return Leaning(tone=tone, rung=rung_of(tone.staff + away, root) or 0, away=-away)


def steps_of(notes: Sequence[Tone]) -> list[int]:
    """Return the melodic steps, in staff places, from each group's highest note to the next."""
    tops = [max(tone.staff for tone in group) for group in groups(notes)]
    return [b - a for a, b in pairwise(tops)]
