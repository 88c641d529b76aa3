"""Links as their main notes only, to be sounded and shown. Pure.

Conventions: as in `sequence.pattern` and `sequence.reduction`. A link's notes are told apart by
their positions' times, so that it does not matter what was done to their pitches: folded, turned,
changed on purpose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from livecont.music.spectrum import Spectrum
from livecont.sequence.endings_clarity import clarity_of
from livecont.sequence.pattern import Link, LinkNote, Pattern
from livecont.sequence.reduction import MainNote

# a key is up so long before it may go down again
APART_S = 0.03
# positions of two drafts of one pattern lie no further apart than this, in units
SAME_PLACE = 0.05
KEPT = 256


class MainNotes:
    """Makes links of a pattern into links of their main notes; each is worked out once."""

    def __init__(
        self, reduction: Sequence[MainNote], pattern: Pattern, spectrum: Spectrum | None
    ) -> None:
        self._reduction = tuple(reduction)
        self._offsets = tuple(position.offset_units for position in pattern.positions)
        self._spectrum = spectrum
        self._known: dict[int, tuple[Link, Link]] = {}

    def suits(self, pattern: Pattern) -> bool:
        """Whether the main notes of another draft of the pattern are the same positions."""
        return len(pattern.positions) == len(self._offsets) and all(
            abs(position.offset_units - offset) <= SAME_PLACE
            for position, offset in zip(pattern.positions, self._offsets, strict=True)
        )

    def of(self, link: Link, pattern: Pattern) -> Link:
        """Return a link's main notes; one that is no longer made of the pattern's notes stays."""
        known = self._known.get(id(link))
        if known is not None and known[0] is link:
            return known[1]
        if len(self._known) >= KEPT:
            self._known.clear()
        reduced = self._reduced(link, pattern)
        self._known[id(link)] = (link, reduced)  # the link is kept, so its id stays its own
        return reduced

    def _reduced(self, link: Link, pattern: Pattern) -> Link:
        placed = _placed(link, pattern)
        if placed is None:
            return link
        notes = tuple(
            replace(
                note,
                offset_s=main.offset_units * link.unit_s,
                duration_s=_length_s(main.duration_units * link.unit_s),
            )
            for main in _tied(self._reduction)
            if (note := placed[main.position]) is not None
        )
        if not notes:
            return link
        reduced = replace(link, notes=notes)
        if link.clarity is None or self._spectrum is None:
            return reduced
        return replace(reduced, clarity=clarity_of(reduced, self._spectrum))


def _tied(reduction: Sequence[MainNote]) -> list[MainNote]:
    """The notes with each suspension tied to what prepares it, where that is the same note."""
    tied: list[MainNote] = []
    for note in sorted(reduction, key=lambda note: note.offset_units):
        before = next((i for i, one in enumerate(tied) if _runs_into(one, note)), None)
        if before is None:
            tied.append(note)
        else:
            length = note.offset_units + note.duration_units - tied[before].offset_units
            tied[before] = replace(tied[before], duration_units=length)
    return tied


def _runs_into(one: MainNote, note: MainNote) -> bool:
    """Whether a suspension is the same note as one that ends where it begins."""
    ends = one.offset_units + one.duration_units
    return (
        note.suspended
        and one.position == note.position
        and one.voice == note.voice
        and abs(ends - note.offset_units) < SAME_PLACE
    )


def _length_s(whole_s: float) -> float:
    return max(whole_s / 2, whole_s - APART_S)


def _placed(link: Link, pattern: Pattern) -> tuple[LinkNote | None, ...] | None:
    """The note at each position, None where the link has none there; None where others are left."""
    notes = list(link.notes)
    placed: list[LinkNote | None] = []
    for position in pattern.positions:
        offset_s = max(0.0, position.offset_units) * link.unit_s
        length_s = position.articulation * link.unit_s
        found = None
        if notes and _near(notes[0].offset_s, offset_s) and _near(notes[0].duration_s, length_s):
            found = notes.pop(0)
        placed.append(found)
    return None if notes else tuple(placed)


def _near(one_s: float, other_s: float) -> bool:
    return abs(one_s - other_s) < 1e-6
