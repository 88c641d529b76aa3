"""Setting a figure on other harmonies: the same rhythm and contour on another root.

Conventions: as in `endings_figure`. A hand's notes in a cell move together along the ladder of the
new triad, by whole rungs, and what leans on a chord tone goes on leaning on it; so broken chords
stay broken chords and chords get other inversions, not parallels.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.endings_figure import Cell, Leaning, groups, on_rung
from livecont.sequence.endings_harmony import SEVENTH_DEGREE, Chord, leading_tone
from livecont.sequence.endings_leading import LOWER, UPPER, Outer, Struck, outer_pairs, parallels

# how many rungs a hand may go from where it was
FARTHEST_RUNGS = {LOWER: 3, UPPER: 2}
MOST_OPTIONS = {LOWER: 2, UPPER: 5}
PER_PLACE_COST = 0.08
CROSSING_COST = 1.0
PARALLEL_INSIDE_COST = 1.5
DOUBLED_LEADING_TONE_COST = 0.2
# over a dominant the melody rather has what goes to the tonic by step
FAR_FROM_TONIC_COST = 0.4
UNISON_COST = 0.5
CROWDED_COST, CROWDED = 0.3, 7
# a harmony without its third, and a dominant without its leading tone
NO_THIRD_COST = {False: 0.2, True: 1.0}
AUGMENTED_SECOND = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A cell set on a chord: the pitch of each of its notes, by position; its outer voices."""

    chord: Chord
    pitches: tuple[tuple[int, Spelling], ...]
    struck: tuple[Struck, ...]
    pairs: tuple[Outer, ...]
    cost: float

    @property
    def head(self) -> tuple[Struck, ...]:
        """What is struck first."""
        first = self.struck[0].offset
        return tuple(note for note in self.struck if note.offset - first < 1e-9)

    def leading_tones(self, key: Key, part: int) -> list[int]:
        """Return the leading tones that a hand has, as MIDI pitches."""
        target = (key.tonic_pitch_class - 1) % 12
        return sorted({n.pitch for n in self.struck if n.part == part and n.pitch % 12 == target})

    def last(self, part: int) -> int | None:
        """Return the last pitch of a hand, of a chord its highest."""
        line = [note for note in self.struck if note.part == part]
        return max(line, key=lambda n: (n.offset, n.pitch)).pitch if line else None

    def first(self, part: int) -> int | None:
        """Return the first pitch of a hand, of a chord the outer one."""
        line = [note for note in self.struck if note.part == part]
        if not line:
            return None
        at_once = [n.pitch for n in line if n.offset == line[0].offset]
        return max(at_once) if part == UPPER else min(at_once)


def as_it_sounds(cell: Cell, spelled: Sequence[Spelling | None], chord: Chord) -> Setting:
    """Return a cell with the pitches that a link has, as a setting of what it is taken for."""
    struck = tuple(_struck(cell, spelled))
    pitches = tuple((n.tone.index, s) for n in cell.notes if (s := spelled[n.tone.index]))
    pairs = tuple(outer_pairs(struck))
    return Setting(chord=chord, pitches=pitches, struck=struck, pairs=pairs, cost=0.0)


def settings_of(
    cell: Cell, chord: Chord, key: Key, reference: Sequence[Spelling | None]
) -> Iterator[Setting]:
    """Yield ways to set a cell on a chord near where its notes lie in a reference link."""
    root = (key.letter + chord.degree) % 7
    hands = []
    for part in (LOWER, UPPER):
        notes = cell.part(part)
        if notes:
            hands.append(list(_hand(notes, chord, key, root, reference)))
    if not hands:
        return
    own = parallels(outer_pairs(_struck(cell, reference)))
    lowers = hands[0] if len(hands) > 1 else [()]
    for lower in lowers:
        for upper in hands[-1]:
            yield _setting(chord, key, (*lower, *upper), reference, own)


Line = tuple[tuple[Leaning, Spelling], ...]


def _hand(
    notes: tuple[Leaning, ...],
    chord: Chord,
    key: Key,
    root: int,
    reference: Sequence[Spelling | None],
) -> Iterator[Line]:
    """Yield a hand's notes on a chord, nearest to where they were first."""
    part = notes[0].tone.part
    was = [s.staff for note in notes if (s := reference[note.tone.index]) is not None]
    mean = sum(was) / max(1, len(was))
    here = sum(on_rung(note.rung, root) + note.away for note in notes) / len(notes)
    nearest = round((mean - here) * 3 / 7)
    bass = groups([note.tone for note in notes])[0][0]
    bass_rung = next(note.rung for note in notes if note.tone is bass)
    found = []
    for rungs in range(nearest - FARTHEST_RUNGS[part], nearest + FARTHEST_RUNGS[part] + 1):
        if part == LOWER and (bass_rung + rungs) % 3 not in chord.basses:
            continue
        staffs = [on_rung(note.rung + rungs, root) + note.away for note in notes]
        away = abs(sum(staffs) / len(staffs) - mean)
        found.append((away, rungs, staffs))
    for _, _, staffs in sorted(found)[: MOST_OPTIONS[part]]:
        yield tuple(zip(notes, _tuned(staffs, chord, key), strict=True))


def _tuned(staffs: Sequence[int], chord: Chord, key: Key) -> list[Spelling]:
    """The accidentals of a line: leading tones over a dominant, and the sixth that goes with them.

    In minor the sixth next to a leading tone is raised too: no augmented seconds.
    """
    natural = [key.natural(staff) for staff in staffs]
    if not chord.leading:
        return natural
    raised = [
        leading_tone(key, s.staff) if key.degree(s.staff) == SEVENTH_DEGREE else s for s in natural
    ]
    for i, note in enumerate(raised):
        beside = [raised[j] for j in (i - 1, i + 1) if 0 <= j < len(raised)]
        augmented = any(
            other.staff == note.staff + 1 and other.midi - note.midi == AUGMENTED_SECOND
            for other in beside
        )
        if augmented:
            raised[i] = Spelling(note.staff, note.alter + 1)
    return raised


def _struck(cell: Cell, spelled: Sequence[Spelling | None]) -> list[Struck]:
    return [
        Struck(note.tone.offset, note.tone.part, pitch.midi)
        for note in cell.notes
        if (pitch := spelled[note.tone.index]) is not None
    ]


def _setting(
    chord: Chord,
    key: Key,
    line: Line,
    reference: Sequence[Spelling | None],
    own_parallels: int,
) -> Setting:
    line = tuple(sorted(line, key=lambda one: (one[0].tone.offset, one[1].staff)))
    struck = tuple(Struck(n.tone.offset, n.tone.part, pitch.midi) for n, pitch in line)
    pairs = tuple(outer_pairs(struck))
    places = [
        abs(pitch.staff - was.staff)
        for n, pitch in line
        if (was := reference[n.tone.index]) is not None
    ]
    cost = PER_PLACE_COST * sum(places) / max(1, len(places))
    cost += PARALLEL_INSIDE_COST * max(0, parallels(pairs) - own_parallels)
    cost += CROSSING_COST * any(pair.high <= pair.low for pair in pairs)
    cost += UNISON_COST * (len(struck) - len({(n.offset, n.pitch) for n in struck}))
    cost += CROWDED_COST * bool(pairs and pairs[0].high - pairs[0].low < CROWDED)
    third = (key.letter + chord.degree + 2) % 7
    if all(pitch.staff % 7 != third for _, pitch in line):
        cost += NO_THIRD_COST[chord.leading]
    if chord.leading:
        target = (key.tonic_pitch_class - 1) % 12
        hands = {note.part for note in struck if note.pitch % 12 == target}
        cost += DOUBLED_LEADING_TONE_COST * (len(hands) > 1)
        melody = [pitch for n, pitch in line if n.tone.part == UPPER]
        on_root = bool(melody) and key.degree(melody[-1].staff) == chord.degree
        cost += FAR_FROM_TONIC_COST * on_root
    pitches = tuple((n.tone.index, pitch) for n, pitch in line)
    return Setting(chord=chord, pitches=pitches, struck=struck, pairs=pairs, cost=cost)
