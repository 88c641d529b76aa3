"""What a game or a lesson makes sound, as effects: links one after the other, notes as played.

Conventions: as in `sitting.events`; seconds on the session's clock. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from livecont.ear.asked import Answered
from livecont.music.key import Key
from livecont.sequence.events import KeyDown, KeyUp, Note, PedalMove, PlayerEvent
from livecont.sequence.pattern import Link, LinkNote
from livecont.sitting.events import Hush, Lost, Quit, Sound, Tick, Wake

HELD_S = 0.4  # a note whose key was still down when the answer was complete


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """A key of the computer was struck."""

    at_s: float
    sign: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Keep:
    """Keep an answer, at once."""

    answered: Answered


@dataclass(frozen=True, slots=True, kw_only=True)
class Over:
    """The session has come to its end by itself."""

    at_s: float


SessionEvent = PlayerEvent | Tick | Typed | Lost | Quit
SessionEffect = Sound | Hush | Wake | Keep | Over


def sounding(links: Sequence[Link], start_s: float) -> tuple[Sound, ...]:
    """Return what sounds links one after the other."""
    sounds, at_s = [], start_s
    for link in links:
        sounds.append(Sound(start_s=at_s, link=link))
        at_s += link.unit_s
    return tuple(sounds)


def as_link(notes: Sequence[Note], key: Key) -> Link | None:
    """Return what was played as something that can sound; None where nothing was."""
    if not notes:
        return None
    begun_s = min(note.onset_s for note in notes)
    found = tuple(
        LinkNote(
            offset_s=note.onset_s - begun_s,
            duration_s=HELD_S if note.release_s is None else note.release_s - note.onset_s,
            spelling=key.spell(note.pitch),
            velocity=note.velocity,
            channel=note.channel,
        )
        for note in notes
    )
    length_s = max(note.offset_s + note.duration_s for note in found)
    return Link(number=0, unit_s=length_s, notes=found, pedals=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Playing:
    """What is being played: notes by onset, those whose keys are down still without a release."""

    notes: tuple[Note, ...] = ()

    def after(self, event: KeyDown | KeyUp) -> Playing:
        """Return it after one more event."""
        if isinstance(event, KeyDown):
            note = Note(
                onset_s=event.at_s, release_s=None, pitch=event.pitch, velocity=event.velocity
            )
            return Playing(notes=(*self.notes, note))
        return Playing(
            notes=tuple(
                Note(
                    onset_s=note.onset_s,
                    release_s=event.at_s,
                    pitch=note.pitch,
                    velocity=note.velocity,
                )
                if note.pitch == event.pitch and note.release_s is None
                else note
                for note in self.notes
            )
        )


__all__ = [
    "Hush", "Keep", "KeyDown", "KeyUp", "Lost", "Over", "PedalMove", "Playing", "Quit",
    "SessionEffect", "SessionEvent", "Sound", "Tick", "Typed", "Wake", "as_link", "sounding",
]  # fmt: skip
