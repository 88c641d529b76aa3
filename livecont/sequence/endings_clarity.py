"""The clarity of links, and how many of them are left: those clear, and those in the compass.

Conventions: durations in seconds; clarity 0..1 as in `music.clarity`. A note sounds as long as its
key is down or the sustaining pedal holds it, within its link.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from livecont.music.clarity import CLEAR, clarity
from livecont.music.spectrum import MODERN_PIANO, Spectrum
from livecont.sequence.events import SUSTAIN
from livecont.sequence.pattern import Link, PedalMark

PEDAL_DOWN = 64  # MIDI 1.0: from this value on a pedal is down


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How many links are left: in the compass, and of these, before the first unclear one."""

    clear: int
    compass: int


def moments_of(link: Link) -> Iterator[tuple[float, tuple[int, ...]]]:
    """Yield how long each sonority of a link sounds and its pitches, silence included."""
    changes: list[tuple[float, int, int]] = []
    held = tuple(_pedalled(link))
    for note in link.notes:
        end_s = note.offset_s + note.duration_s
        for down_s, up_s in held:
            if down_s <= end_s < up_s:
                end_s = up_s
        changes += [(note.offset_s, 1, note.pitch), (min(end_s, link.unit_s), -1, note.pitch)]
    changes.sort()
    count: dict[int, int] = {}
    at_s = 0.0
    for time_s, change, pitch in changes:
        if time_s > at_s:
            yield time_s - at_s, tuple(sorted(p for p, n in count.items() if n > 0))
            at_s = time_s
        count[pitch] = count.get(pitch, 0) + change


def _pedalled(link: Link) -> Iterator[tuple[float, float]]:
    """The spans of a link in which the pedal is down; it begins as the link before left it."""
    marks: list[PedalMark] = [mark for mark in link.pedals if mark.controller == SUSTAIN]
    if not marks:
        return
    down_s = 0.0 if marks[-1].value >= PEDAL_DOWN else None
    for mark in marks:
        at_s = mark.offset_units * link.unit_s
        if mark.value >= PEDAL_DOWN:
            down_s = at_s if down_s is None else down_s
        elif down_s is not None:
            yield down_s, at_s
            down_s = None
    if down_s is not None:
        yield down_s, link.unit_s


def clarity_of(link: Link, spectrum: Spectrum = MODERN_PIANO) -> float:
    """Return how well the ear follows a link, 0..1; each sonority counts by how long it sounds."""
    return clarity(moments_of(link), spectrum)


def clear(link: Link, spectrum: Spectrum = MODERN_PIANO) -> bool:
    """Whether the ear still follows a link: its clarity is at least `music.clarity.CLEAR`."""
    known = clarity_of(link, spectrum) if link.clarity is None else link.clarity
    return known >= CLEAR


def reach(links: Iterable[Link]) -> Reach:
    """Count links that follow each other by the step until the compass ends.

    Their `clarity` must be known. The clear limit is the first link below the bound, unless the
    chain is on its way out of the mud: then those get clearer from link to link, and count.
    """
    in_compass = clear_links = 0
    muddy = False
    before: float | None = None
    for link in links:
        in_compass += 1
        muddy = muddy or falls_short(link.clarity, before)
        clear_links += not muddy
        before = link.clarity
    return Reach(clear=clear_links, compass=in_compass)


def falls_short(clarity_now: float | None, clarity_before: float | None) -> bool:
    """Whether a link lies beyond the clear limit: unclear, and no clearer than the one before."""
    if clarity_now is None or clarity_now >= CLEAR:
        return False
    return clarity_before is None or clarity_now <= clarity_before
