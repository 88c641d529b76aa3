"""Which links are listed on the page, and the names of their notes.

Conventions: the link that sounds or waits comes first in the list, then what a player wants to see
beside it; the page takes as many as it has room for. Names carry their octave where it differs from
that of the note before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from livecont.music.pitch import Spelling
from livecont.screen.moment import link_now, progress
from livecont.screen.once import once_each
from livecont.screen.typeset import Tone
from livecont.screen.voices import Verse, heard_verses, link_verse
from livecont.screen.wording import OCTAVE_SIGNS, letter_name, octave_sign
from livecont.sequence.pattern import Link, Pattern
from livecont.sitting.snapshot import Phase, Snapshot


@dataclass(frozen=True, slots=True)
class Listed:
    """A link in the list, whose it is, and how it is to be shown.

    `now` is the share of it that has sounded, 0..1, for the one that sounds, else None.
    """

    verse: Verse
    label: str
    tone: Tone
    number_tone: Tone
    now: float | None = None


def listed_links(
    snapshot: Snapshot, pattern: Pattern, starts: tuple[float, ...], most: int
) -> list[Listed]:
    """Return the links that can be shown, at most `most`, the most wanted first, none twice."""
    heard: list[_Wanted] = [(verse.number, verse) for verse in heard_verses(pattern)]
    now = link_now(snapshot)
    current: list[_Wanted] = [] if now is None else [(now.number, now)]
    last_number = (current or heard)[-1][0] if current or heard else 0
    coming: list[_Wanted] = [
        (link.number, link) for link in snapshot.coming if link.number > last_number and link.notes
    ]
    old = [heard[0], heard[-1]] if len(heard) > 1 else heard
    if snapshot.phase is Phase.SOUNDING:
        wanted = current + coming[:1] + old + coming[1:] + heard[-2:0:-1]
    else:
        wanted = current + old + coming + heard[-2:0:-1]
    chosen: dict[int, Listed] = {}
    for number, what in wanted:
        if len(chosen) < most and number not in chosen:
            chosen[number] = _listed(snapshot, what, starts)
    return list(chosen.values())


_Wanted = tuple[int, Verse | Link]


def _listed(snapshot: Snapshot, what: Verse | Link, starts: tuple[float, ...]) -> Listed:
    if isinstance(what, Verse):
        return Listed(what, "you", Tone.PLAIN, Tone.PLAIN)
    verse = link_verse(what, starts)
    if what is not link_now(snapshot):
        return Listed(verse, "", Tone.QUIET, Tone.QUIET)
    if snapshot.phase is Phase.SOUNDING:
        return Listed(verse, "livecont", Tone.OURS_QUIET, Tone.OURS, progress(snapshot))
    return Listed(verse, "next", Tone.OURS_QUIET, Tone.OURS_QUIET)


Voice = Callable[[Verse], list[str]]


@once_each
def upper(verse: Verse) -> list[str]:
    """Return the names in the upper line, one a column, empty where none begins."""
    return _with_octaves([column.upper for column in verse.columns])


@once_each
def lower(verse: Verse) -> list[str]:
    """Return the names in the lower line."""
    return _with_octaves([column.lower for column in verse.columns])


@once_each
def inner(verse: Verse) -> list[str]:
    """Return what lies between, the notes of a column joined."""
    return ["·".join(map(letter_name, column.inner)) for column in verse.columns]


@once_each
def short_upper(verse: Verse) -> list[str]:
    """Return the upper line with the first octave only."""
    return _first_octave(upper(verse))


@once_each
def short_lower(verse: Verse) -> list[str]:
    """Return the lower line with the first octave only."""
    return _first_octave(lower(verse))


# what takes less room, for each voice
SHORTER: dict[Voice, Voice] = {upper: short_upper, lower: short_lower, inner: inner}


def _with_octaves(notes: Sequence[Spelling | None]) -> list[str]:
    names = []
    octave: int | None = None
    for note in notes:
        if note is None:
            names.append("")
            continue
        names.append(letter_name(note) + (octave_sign(note) if note.octave != octave else ""))
        octave = note.octave
    return names


def _first_octave(names: Sequence[str]) -> list[str]:
    first = next((i for i, name in enumerate(names) if name), 0)
    return [name if i <= first else name.rstrip(OCTAVE_SIGNS) for i, name in enumerate(names)]
