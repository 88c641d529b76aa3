"""Alters one note of a link, so that it breaks the chain's rule and can be heard to.

An alteration is a leap of a third and more, a step, or another accidental, which is hard. It is
never nothing: the key struck is another one, it sounds nowhere else in the link at that moment, and
another accidental leads out of every form of the scale (in minor the raised sixth and seventh
belong to it). Only what is heard is altered: the highest or lowest note of its moment.

Conventions: as in `sequence.pattern`. Chance is handed in. Pure.
"""

from __future__ import annotations

import random  # noqa: TID251 -- only typed: dice are handed in, seeded
from collections.abc import Iterator
from dataclasses import dataclass, replace

from livecont.ear.setup import Odd
from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.sequence.pattern import Link, LinkNote

TOGETHER_S = 0.035
LEAST_S = 0.1  # shorter notes pass unheard
LEAPS = (-4, -3, -2, 2, 3, 4)  # in places
RAISED_IN_MINOR = (5, 6)  # degrees, from 0


@dataclass(frozen=True, slots=True, kw_only=True)
class OddNote:
    """A link with one note altered: which one, what was due, when it comes in the link.

    `hard`: only its accidental was changed.
    """

    link: Link
    index: int
    due: Spelling
    offset_s: float
    hard: bool

    @property
    def heard(self) -> Spelling:
        """The note that sounds instead."""
        return self.link.notes[self.index].spelling


def altered(
    link: Link, key: Key, compass: Compass, odd: Odd, dice: random.Random
) -> OddNote | None:
    """Return the link with one note altered; None where none can be so that it is heard."""
    options = [
        (index, other)
        for index, note in enumerate(link.notes)
        if _heard(link, note)
        for other in _others(note.spelling, key, odd)
        if _another(link, note, other, compass)
    ]
    if not options:
        return None
    index, other = dice.choice(options)
    notes = list(link.notes)
    notes[index] = replace(notes[index], spelling=other)
    return OddNote(
        link=replace(link, notes=tuple(notes)),
        index=index,
        due=link.notes[index].spelling,
        offset_s=link.notes[index].offset_s,
        hard=odd is Odd.ACCIDENTAL,
    )


def _together(link: Link, note: LinkNote) -> list[LinkNote]:
    return [n for n in link.notes if abs(n.offset_s - note.offset_s) <= TOGETHER_S]


def _heard(link: Link, note: LinkNote) -> bool:
    """Whether a note stands out enough: long, and the highest or lowest of its moment."""
    pitches = [other.pitch for other in _together(link, note)]
    return note.duration_s >= LEAST_S and note.pitch in (min(pitches), max(pitches))


def _others(due: Spelling, key: Key, odd: Odd) -> Iterator[Spelling]:
    if odd is Odd.ACCIDENTAL:
        for alter in (due.alter - 1, due.alter + 1):
            other = Spelling(due.staff, alter)
            if abs(alter) <= 1 and not _in_scale(other, key):
                yield other
        return
    for places in LEAPS if odd is Odd.LEAP else (-1, 1):
        staff = due.staff + places
        yield Spelling(staff, key.signature_alter(staff))


def _in_scale(pitch: Spelling, key: Key) -> bool:
    """Whether the key on the keyboard belongs to any form of the scale."""
    scale = {key.natural(staff).midi % 12 for staff in range(7)}
    if key.minor:
        raised = [s for s in range(7) if key.degree(s) in RAISED_IN_MINOR]
        scale |= {(key.natural(staff).midi + 1) % 12 for staff in raised}
    return pitch.midi % 12 in scale


def _another(link: Link, note: LinkNote, other: Spelling, compass: Compass) -> bool:
    """Whether it is another sound: a key of its own that nothing else strikes or holds then."""
    if other.midi == note.pitch or other.midi not in compass:
        return False
    return all(
        n.pitch % 12 != other.midi % 12
        for n in link.notes
        if n is not note
        and n.offset_s <= note.offset_s + TOGETHER_S
        and n.offset_s + n.duration_s > note.offset_s
    )
