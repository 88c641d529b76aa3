"""The main notes of a link: the figuration taken away, suspensions kept.

Conventions: offsets and lengths in units; voices count from the bass, 0. A harmony has one main
note in each voice, a suspension besides. The same reduction is read off any link: its notes are
positions of the pattern.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.harmony import Harmony
from livecont.music.pitch import Spelling
from livecont.sequence.pattern import LinkNote, Pattern

CHORD_PLACES = (0, 2, 4, 6)


@dataclass(frozen=True, slots=True, kw_only=True)
class MainNote:
    """A note of the reduction: the index of its position, when and how long, in which voice.

    `suspended` where it belongs to the harmony before and resolves down a step.
    """

    position: int
    offset_units: float
    duration_units: float
    voice: int
    suspended: bool


def reduction_of(
    pattern: Pattern, spelled: tuple[Spelling | None, ...], harmonies: tuple[Harmony, ...]
) -> tuple[MainNote, ...]:
    """Return the main notes of a link, by time, then from the bass up.

    Args:
        pattern: whose positions are meant.
        spelled: the link's pitches, one for each position.
        harmonies: the link's.
    """
    found = []
    ends = [*(h.start_units for h in harmonies[1:]), 1.0]
    for harmony, end in zip(harmonies, ends, strict=True):
        start = harmony.start_units
        inside = [
            (pitch, i)
            for i, (position, pitch) in enumerate(zip(pattern.positions, spelled, strict=True))
            if pitch is not None
            and position.offset_units < end - 0.01
            and position.offset_units + position.articulation > start + 0.01
            and (pitch.letter - harmony.root.letter) % 7 in CHORD_PLACES
        ]
        if not inside:
            continue
        lowest, highest = min(inside), max(inside)
        for voice, (_, i) in enumerate([lowest] if lowest == highest else [lowest, highest]):
            found.append(
                MainNote(
                    position=i,
                    offset_units=start,
                    duration_units=end - start,
                    voice=voice,
                    suspended=False,
                )
            )
    return tuple(found)


def notes_of(
    reduction: tuple[MainNote, ...], pattern: Pattern, spelled: tuple[Spelling | None, ...]
) -> tuple[LinkNote, ...]:
    """Return the main notes of a link as notes to be played or written, times in seconds."""
    found = []
    for note in reduction:
        pitch, position = spelled[note.position], pattern.positions[note.position]
        if pitch is not None:
            found.append(
                LinkNote(
                    offset_s=note.offset_units * pattern.unit_s,
                    duration_s=note.duration_units * pattern.unit_s,
                    spelling=pitch,
                    velocity=min(127, max(1, position.velocity)),
                    channel=position.channel,
                )
            )
    return tuple(found)


def linear_steps(reduction: tuple[MainNote, ...], step: int) -> tuple[int, ...]:
    """Return by how many staff places each voice moves from link to link."""
    return (step,) * len({note.voice for note in reduction})
