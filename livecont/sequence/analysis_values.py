"""What a sequence is, as values.

Conventions: offsets in units; places on the staff, down is negative.
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.harmony import Harmony
from livecont.music.label import Label
from livecont.sequence.reduction import MainNote


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """What a sequence is.

    `alternatives` are other labels that the music would bear, the likelier first. `doubt` says in
    words why the label is not sure; None where it is. `harmonies` are those of link `link`, the
    first of which anything is known, by when they begin; `members` their notes, as indices of
    positions, the bass first, then the weightier first. `reduction` has the main notes of a link;
    `linear_steps` by how many staff places each voice of it moves from link to link, the bass
    first; `linear_motions` how it moves from main note to main note, the last into the next link.
    """

    label: Label | None
    alternatives: tuple[Label, ...]
    doubt: str | None
    harmonies: tuple[Harmony, ...]
    reduction: tuple[MainNote, ...]
    linear_steps: tuple[int, ...]
    link: int
    members: tuple[tuple[int, ...], ...] = ()
    linear_motions: tuple[tuple[int, ...], ...] = ()
