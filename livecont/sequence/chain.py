"""The chain: links to come, made from a pattern by the rules of continuation.

Conventions: links are numbered from 1, the model; times inside a link in seconds from its start.
Pure: the same pattern gives the same chain.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from livecont.music.compass import Compass
from livecont.music.pitch import Spelling
from livecont.sequence.continuation import carry_on
from livecont.sequence.pattern import Link, LinkNote, Pattern, Position

# more links than any compass has room for: 88 keys by the smallest step
MOST_LINKS = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """A pattern and the instrument it is to sound on.

    `most_links` bounds how many links follow those heard; None: only the compass does.
    """

    pattern: Pattern
    compass: Compass
    most_links: int | None = None

    def links(self) -> Iterator[Link]:
        """Yield the links after those heard, as long as every note has a key on the instrument.

        A chain that never leaves the compass (its step moves nothing) is cut at 128 links.
        """
        most = MOST_LINKS if self.most_links is None else min(self.most_links, MOST_LINKS)
        positions = self.pattern.positions
        number = self.pattern.links_heard
        for _ in range(most):
            number += 1
            spelled = carry_on(
                positions, self.pattern.step_degrees, self.pattern.key, self.pattern.before
            )
            link = _link(self.pattern, positions, spelled, number)
            if not link.notes or not self.compass.holds(note.pitch for note in link.notes):
                return
            yield link
            positions = tuple(
                replace(position, heard=(*position.heard, heard))
                for position, heard in zip(positions, spelled, strict=True)
            )


def _link(
    pattern: Pattern,
    positions: tuple[Position, ...],
    spelled: tuple[Spelling | None, ...],
    number: int,
) -> Link:
    notes = tuple(
        LinkNote(
            offset_s=max(0.0, position.offset_units) * pattern.unit_s,
            duration_s=position.articulation * pattern.unit_s,
            spelling=spelling,
            velocity=min(127, max(1, position.velocity)),
            channel=position.channel,
        )
        for position, spelling in zip(positions, spelled, strict=True)
        if spelling is not None
    )
    return Link(number=number, unit_s=pattern.unit_s, notes=notes, pedals=pattern.pedals)
