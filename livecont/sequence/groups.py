"""Notes gathered into groups: onsets so close that they are heard as one chord.

Conventions: groups are numbered from 0 as they come, and forgotten from the oldest on; a group's
onset is its first note's. Times in seconds on the caller's clock.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from livecont.sequence.events import KeyDown, KeyUp

# four hands strike no more notes at once; what is beyond is no music, and would take seconds to
# compare: it is held, but not heard [trade]
MOST_IN_GROUP = 24


@dataclass(slots=True)
class HeardNote:
    """A note as it is being played: its release comes later."""

    onset_s: float
    pitch: int
    velocity: int
    channel: int
    release_s: float | None = None


@dataclass(slots=True)
class Group:
    """Notes struck together, in the order struck."""

    onset_s: float
    notes: list[HeardNote] = field(default_factory=list)

    @property
    def pitches(self) -> tuple[int, ...]:
        """The different MIDI pitches, rising."""
        return tuple(sorted({note.pitch for note in self.notes}))


class Groups:
    """The latest groups, at most `most` of them, and the keys that are down."""

    def __init__(self, chord_s: float, most: int) -> None:
        self._chord_s = chord_s
        self._groups: deque[Group] = deque(maxlen=most)
        self._held: dict[tuple[int, int], HeardNote] = {}
        self.count = 0

    def __getitem__(self, number: int) -> Group:
        """The group of that number; IndexError where it is forgotten or has not come."""
        index = number - self.first
        if not 0 <= index < len(self._groups):
            raise IndexError(number)
        return self._groups[index]

    @property
    def first(self) -> int:
        """Number of the oldest group still known."""
        return self.count - len(self._groups)

    def down(self, event: KeyDown) -> bool:
        """A key goes down; return whether it began a new group."""
        self.up(KeyUp(at_s=event.at_s, pitch=event.pitch, channel=event.channel))
        note = HeardNote(event.at_s, event.pitch, event.velocity, event.channel)
        self._held[event.channel, event.pitch] = note
        newest = self._groups[-1] if self._groups else None
        begins = newest is None or event.at_s - newest.onset_s > self._chord_s
        if newest is None or begins:
            newest = Group(event.at_s)
            self._groups.append(newest)
            self.count += 1
        if len(newest.notes) < MOST_IN_GROUP:
            newest.notes.append(note)
        return begins

    def up(self, event: KeyUp) -> None:
        """A key comes up; one that was not known to be down is passed over."""
        note = self._held.pop((event.channel, event.pitch), None)
        if note is not None:
            note.release_s = event.at_s

    def held(self) -> tuple[int, ...]:
        """The MIDI pitches whose keys are down, rising."""
        return tuple(sorted({pitch for _, pitch in self._held}))
