"""Which links are listed on the page, and the names of their notes.

Conventions: the link that sounds or waits comes first in the list, then what a player wants to see
beside it; the page takes as many as it has room for. Names carry their octave where it differs from
that of the note before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from livecont.music.pitch import Spelling
from livecont.screen.typeset import Tone
from livecont.screen.voices import Verse, heard_verses, link_verse
from livecont.screen.wording import letter_name, octave_sign
from livecont.sequence.pattern import Pattern
from livecont.sitting.snapshot import Phase, Snapshot

_MOST_COMING = 12  # more are never on a page


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


def progress(snapshot: Snapshot) -> float | None:
    """Return which share of the sounding link is over, 0..1; None where none sounds."""
    if snapshot.phase is not Phase.SOUNDING or snapshot.sounding is None:
        return None
    if snapshot.sounding_start_s is None or not snapshot.sounding.unit_s > 0:
        return None
    share = (snapshot.at_s - snapshot.sounding_start_s) / snapshot.sounding.unit_s
    return min(1.0, max(0.0, share))


def listed_links(snapshot: Snapshot, pattern: Pattern, starts: Sequence[float]) -> list[Listed]:
    """Return every link that can be shown, the most wanted first, none twice."""
    heard = [
        Listed(verse, "you", Tone.PLAIN, Tone.PLAIN) for verse in heard_verses(pattern, starts)
    ]
    current = _current(snapshot, starts)
    last_number = current[0].verse.number if current else len(heard)
    coming = [
        Listed(link_verse(link, starts), "", Tone.QUIET, Tone.QUIET)
        for link in snapshot.coming[:_MOST_COMING]
        if link.number > last_number and link.notes
    ]
    old = [heard[0], heard[-1]] if len(heard) > 1 else heard
    if snapshot.phase is Phase.SOUNDING:
        wanted = current + coming[:1] + old + coming[1:] + heard[-2:0:-1]
    else:
        wanted = current + old + coming + heard[-2:0:-1]
    return list({one.verse.number: one for one in reversed(wanted)}.values())[::-1]


def _current(snapshot: Snapshot, starts: Sequence[float]) -> list[Listed]:
    if snapshot.sounding is None:
        return []
    verse = link_verse(snapshot.sounding, starts)
    if snapshot.phase is Phase.SOUNDING:
        return [Listed(verse, "livecont", Tone.OURS_QUIET, Tone.OURS, progress(snapshot))]
    return [Listed(verse, "next", Tone.OURS_QUIET, Tone.OURS_QUIET)]


Voice = Callable[[Verse], list[str]]


def upper(verse: Verse) -> list[str]:
    """Return the names in the upper line, one a column, empty where none begins."""
    return _with_octaves([column.upper for column in verse.columns])


def lower(verse: Verse) -> list[str]:
    """Return the names in the lower line."""
    return _with_octaves([column.lower for column in verse.columns])


def inner(verse: Verse) -> list[str]:
    """Return what lies between, the notes of a column joined."""
    return ["·".join(map(letter_name, column.inner)) for column in verse.columns]


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
