"""Judges an answer against the link that is due: right notes, right time, note by note.

What counts is what a teacher would say. A rolled chord, a melody that leads, a late start, another
tempo kept, a tempo that drifts are no faults; an ornament on a right note and a brushed key are
told and forgiven. A wrong, missing or added note is a fault, and so is a rhythm that is another
one: a time between two neighbours out of proportion. Single notes off the pulse are told as early
or late where a listener can hear it (`ear.tolerance`).

Conventions: due notes count seconds from the link's start, played ones are on the session's clock.
Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from statistics import median_low

from livecont.ear.following import chords_of, follow
from livecont.ear.matching import Pairing, pair
from livecont.ear.timing import Timed, timed
from livecont.ear.tolerance import TOLERANCE, Tolerance
from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.events import Note
from livecont.sequence.pattern import Link, LinkNote

OCTAVE = 12
HALF = 0.5  # of a note, and its neighbour is a clash, no ornament
SHIFTS = (0, -OCTAVE, OCTAVE, -2 * OCTAVE, 2 * OCTAVE)


class Verdict(StrEnum):
    """What became of a due note."""

    RIGHT = "right"
    OCTAVE = "octave"  # right, in another octave
    WRONG = "wrong"  # another was played in its place
    MISSING = "missing"


class Added(StrEnum):
    """What a note is that was not due."""

    ORNAMENT = "ornament"  # of a right note beside it, and forgiven
    BRUSHED = "brushed"  # a neighbouring key, short or soft, and forgiven
    EXTRA = "extra"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A due note, what was played for it, and how far off its time it was (late is positive).

    `off_s` counts from where the player's own tempo and start lead to expect it; `told` says
    whether so much is worth telling.
    """

    due: LinkNote
    verdict: Verdict
    played: Spelling | None = None
    onset_s: float | None = None
    off_s: float | None = None
    told: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Surplus:
    """A note that was not due."""

    note: Note
    spelling: Spelling
    added: Added


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """An answer, judged.

    `start_off_s` is how late the link began (early is negative), `tempo` the player's tempo as a
    share of the one due; both None where too little was played. `shift` is by how many semitones,
    whole octaves, the answer as a whole was moved. `uneven` are the indices of due notes where the
    rhythm became another one.
    """

    notes: tuple[Judged, ...]
    surplus: tuple[Surplus, ...]
    shift: int
    start_off_s: float | None
    tempo: float | None
    uneven: tuple[int, ...]
    octaves_count: bool

    @property
    def right_notes(self) -> bool:
        """Whether every note due was played and nothing that counts besides."""
        fine = (Verdict.RIGHT,) if self.octaves_count else (Verdict.RIGHT, Verdict.OCTAVE)
        return all(one.verdict in fine for one in self.notes) and not any(
            one.added is Added.EXTRA for one in self.surplus
        )

    @property
    def right_time(self) -> bool:
        """Whether the rhythm is the one due."""
        return not self.uneven and self.start_off_s is not None

    @property
    def right(self) -> bool:
        """Whether the answer is right, notes and rhythm."""
        return self.right_notes and self.right_time


def judge(
    due: Link,
    played: Sequence[Note],
    key: Key,
    *,
    due_s: float | None = None,
    any_octave: bool = False,
    tolerance: Tolerance = TOLERANCE,
) -> Judgement:
    """Judge what was played for a link.

    Args:
        due: the link as it would sound.
        played: the player's notes from the moment at which he was to answer.
        key: the key, to spell what was not due.
        due_s: when the link was due to begin; None where the player began when he liked.
        any_octave: whether octaves count as right.
        tolerance: what is heard, what is forgiven, what is another rhythm.
    """
    shift = _shift(due.notes, played)
    notes = tuple(_moved(note, shift) for note in due.notes)
    chords = chords_of(notes)
    pairing = pair(chords, notes, follow(chords, notes, played), played)
    time = timed(chords, pairing, played, tolerance)
    answer = _Answer(played=played, key=key, pairing=pairing, time=time, tolerance=tolerance)
    judged = tuple(answer.judged(i, note) for i, note in enumerate(due.notes))
    return Judgement(
        notes=judged,
        surplus=answer.surplus(notes, judged),
        shift=shift,
        start_off_s=None if time.start_s is None or due_s is None else time.start_s - due_s,
        tempo=time.tempo,
        uneven=time.uneven,
        octaves_count=not any_octave,
    )


def _shift(due: Sequence[LinkNote], played: Sequence[Note]) -> int:
    """By how many octaves the answer as a whole lies elsewhere."""
    heard = [note.pitch for note in played]

    def common(shift: int) -> int:
        left = list(heard)
        count = 0
        for note in due:
            if note.pitch + shift in left:
                left.remove(note.pitch + shift)
                count += 1
        return count

    return max(SHIFTS, key=lambda shift: (common(shift), -abs(shift)))


def _moved(note: LinkNote, shift: int) -> LinkNote:
    staff = note.spelling.staff + 7 * (shift // OCTAVE)
    return replace(note, spelling=Spelling(staff, note.spelling.alter)) if shift else note


def spelled_beside(due: Spelling, heard: int, key: Key) -> Spelling:
    """Spell what was played where another note was due: as the key does, octaves as what was due.

    >>> from livecont.music.key import parse_key
    >>> from livecont.music.pitch import spelling
    >>> spelled_beside(spelling("F#4"), 65, parse_key("C major")).name
    'F4'
    >>> spelled_beside(spelling("A#4"), 58, parse_key("C major")).name
    'A#3'
    """
    octaves, rest = divmod(heard - due.midi, OCTAVE)
    return key.spell(heard) if rest else Spelling(due.staff + 7 * octaves, due.alter)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answer:
    """What was played, and what was meant by it."""

    played: Sequence[Note]
    key: Key
    pairing: Pairing
    time: Timed
    tolerance: Tolerance

    def judged(self, i: int, due: LinkNote) -> Judged:
        j = self.pairing.played_for[i]
        if j is None:
            return Judged(due=due, verdict=Verdict.MISSING)
        note = self.played[j]
        if note.pitch == due.pitch:
            verdict = Verdict.RIGHT
        else:
            verdict = Verdict.WRONG if (note.pitch - due.pitch) % OCTAVE else Verdict.OCTAVE
        return Judged(
            due=due,
            verdict=verdict,
            played=spelled_beside(due.spelling, note.pitch, self.key),
            onset_s=note.onset_s,
            off_s=self.time.off_s[i],
            told=i in self.time.told,
        )

    def surplus(self, due: Sequence[LinkNote], judged: Sequence[Judged]) -> tuple[Surplus, ...]:
        taken = {j for j in self.pairing.played_for if j is not None}
        right = [
            (note, one.onset_s)
            for note, one in zip(due, judged, strict=True)
            if one.verdict in (Verdict.RIGHT, Verdict.OCTAVE) and one.onset_s is not None
        ]
        usual = median_low([note.velocity for note in self.played]) if self.played else 0
        return tuple(
            Surplus(
                note=note,
                spelling=self.key.spell(note.pitch),
                added=self._added(note, right, usual),
            )
            for j, note in enumerate(self.played)
            if j not in taken
        )

    def _added(self, note: Note, right: Sequence[tuple[LinkNote, float]], usual: int) -> Added:
        limits = self.tolerance
        for due, struck_s in right:
            away = abs(note.pitch - due.pitch)
            since_s = note.onset_s - struck_s
            lasts_s = max(due.duration_s, limits.before_s)
            if away > limits.ornament_semitones or not -limits.before_s <= since_s <= lasts_s:
                continue
            if away and not self._leads_back(note, due, since_s):
                continue
            short = _held_s(note) <= limits.brushed_s
            soft = note.velocity < limits.brushed_velocity * usual
            at_once = abs(since_s) <= limits.brushed_s
            return Added.BRUSHED if away and at_once and (short or soft) else Added.ORNAMENT
        return Added.EXTRA

    def _leads_back(self, note: Note, due: LinkNote, since_s: float) -> bool:
        """Whether a neighbour of a right note is heard as belonging to it.

        It is let go before long, and comes with the note or is followed by it once more.
        """
        limits = self.tolerance
        if _held_s(note) > max(limits.brushed_s, HALF * due.duration_s):
            return False
        return abs(since_s) <= limits.before_s or any(
            other.pitch == due.pitch and 0 < other.onset_s - note.onset_s <= limits.return_s
            for other in self.played
        )


def _held_s(note: Note) -> float:
    return 0.0 if note.release_s is None else note.release_s - note.onset_s
