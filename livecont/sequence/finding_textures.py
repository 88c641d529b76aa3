"""Which notes are looked at together: all, a part, a staff, a voice.

Conventions: parts from 0, staves and voices from 1, as in `music.score`. Everyone is the empty
tuple of `Who`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from livecont.errors import ScoreError, unknown
from livecont.music.score import Score, ScoreNote

LEAST_NOTES = 8  # fewer can't be two links


@dataclass(frozen=True, slots=True, kw_only=True)
class Who:
    """A part; or one staff of it; or one voice on a staff."""

    part: int
    staff: int | None = None
    voice: int | None = None

    def __lt__(self, other: Who) -> bool:
        """Order on the page, the whole before what it is made of."""
        return self._place() < other._place()

    def _place(self) -> tuple[int, int, int]:
        return self.part, self.staff or 0, self.voice or 0

    def has(self, note: ScoreNote) -> bool:
        """Whether a note is theirs."""
        return (
            note.part == self.part
            and self.staff in (None, note.staff)
            and self.voice in (None, note.voice)
        )

    def includes(self, other: Who) -> bool:
        """Whether all that the other plays is theirs."""
        return (
            other.part == self.part
            and self.staff in (None, other.staff)
            and self.voice in (None, other.voice)
        )


Everyone: tuple[Who, ...] = ()


def taking_part(notes: Iterable[ScoreNote], who: tuple[Who, ...]) -> tuple[ScoreNote, ...]:
    """Return the notes of some."""
    if not who:
        return tuple(notes)
    return tuple(note for note in notes if any(one.has(note) for one in who))


def textures(
    score: Score, part: int | None = None, staff: int | None = None
) -> Iterator[tuple[tuple[Who, ...], list[ScoreNote]]]:
    """Yield who is looked at, and their notes: from the whole to single voices.

    A texture that has the same notes as a larger one is left out. `part` and `staff` confine it.

    Raises:
        ScoreError: no part that is looked at has such a staff.
    """
    if staff is not None:
        _known_staff(score, part, staff)
    notes = [
        note
        for note in score.notes
        if not note.grace and part in (None, note.part) and staff in (None, note.staff)
    ]
    groups: dict[Who, list[ScoreNote]] = {}
    whole: tuple[Who, ...] = Everyone
    if part is not None or staff is not None:
        parts = sorted({note.part for note in notes})
        whole = tuple(Who(part=one, staff=staff) for one in parts)
    for note in notes:
        whose = Who(part=note.part, staff=note.staff, voice=note.voice)
        for who in (Who(part=note.part), replace(whose, voice=None), whose):
            groups.setdefault(who, []).append(note)
    if len(notes) >= LEAST_NOTES:
        yield whole, notes
    seen = {_signature(notes)}
    for who, mine in sorted(groups.items(), key=lambda item: _rank(item[0])):
        if len(mine) < LEAST_NOTES or _signature(mine) in seen:
            continue
        seen.add(_signature(mine))
        yield (who,), mine


def _known_staff(score: Score, part: int | None, staff: int) -> None:
    looked_at = score.parts if part is None else (score.parts[part],)
    most = max((one.staves for one in looked_at), default=1)
    if staff > most:
        there = "there is only one" if most == 1 else f"the staves are 1 to {most}"
        whose = f" of {looked_at[0].name}" if len(looked_at) == 1 and looked_at[0].name else ""
        raise ScoreError(f"there is no staff {staff}{whose}: {there}")


def _signature(notes: Sequence[ScoreNote]) -> tuple[int, int, int]:
    """What tells two selections of one score apart."""
    return len(notes), id(notes[0]) if notes else 0, id(notes[-1]) if notes else 0


def _rank(who: Who) -> tuple[int, int, int, int]:
    return (
        (who.staff is not None) + 2 * (who.voice is not None),
        who.part,
        who.staff or 0,
        who.voice or 0,
    )


def part_named(score: Score, name: str) -> int:
    """Return the number of a part named, or numbered from 1.

    Raises:
        ScoreError: there is none.
    """
    names = [part.name.casefold() for part in score.parts]
    wanted = name.strip().casefold()
    if wanted in names:
        return names.index(wanted)
    if wanted.isdecimal() and 1 <= int(wanted) <= len(names):
        return int(wanted) - 1
    near = [index for index, known in enumerate(names) if wanted and wanted in known]
    if len(near) == 1:
        return near[0]
    raise ScoreError(str(unknown("part", name, [part.name for part in score.parts])))


def names_of(score: Score, who: tuple[Who, ...]) -> tuple[str, ...]:
    """Return what those who take part are called: ('all',), ('staff1',), ('Violin 1', 'Cello')."""
    if not who:
        return ("all",)
    return tuple(dict.fromkeys(_name(score, one) for one in who))


def _name(score: Score, who: Who) -> str:
    part = score.parts[who.part]
    named = [] if len(score.parts) == 1 else [part.name]
    if who.staff is not None and (part.staves > 1 or len(score.parts) == 1):
        named.append(f"staff{who.staff}")
    return " ".join(named) or "all"
