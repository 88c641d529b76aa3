"""What finding works with and comes to, as values.

Conventions: `*_q` are quarters as in `music.score`; `exact` is F1 between the notes (onset, staff
place) of one link, moved by the step, and those of the next: 1.0 for a copy without a flaw.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from livecont.music.compass import Compass
from livecont.music.key import Key
from livecont.sequence.finding_textures import Who
from livecont.sequence.pattern import Kind

SHORTEST_Q = Fraction(3, 4)
LONGEST_Q = Fraction(8)  # two bars of 4/4


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What is looked for, and where.

    `least_links` 2 takes pairs in, which then have to be copies without a flaw, of
    `pair_notes` notes a link at least; longer chains need `least_exact` from link to link. Units
    lie from `shortest_q` to `longest_q`. `part` counts from 0, `staff` from 1; `within_q` keeps
    what touches a stretch. `compass` is the instrument that the links left are counted for.
    """

    compass: Compass
    least_links: int = 2
    least_exact: float = 0.85
    pair_notes: int = 6
    shortest_q: Fraction = SHORTEST_Q
    longest_q: Fraction = LONGEST_Q
    part: int | None = None
    staff: int | None = None
    within_q: tuple[Fraction, Fraction] | None = None


class Off(StrEnum):
    """How a chain breaks off."""

    VARIED = "varied"  # it goes on, but not exactly
    LEFT = "left"  # it begins another link and leaves it
    OTHER = "other"  # other music follows
    END = "end"  # the piece, or the part, ends


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakOff:
    """Where the first note departs from what the next link would have; `kept` is F1 with that."""

    at_q: Fraction
    how: Off
    kept: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Find:
    """A sequence on paper.

    `exact` tells of every copy how well it is the image of the link before it. `who` takes part,
    all where it is empty; `parts` are their names. `left` counts the links that could still follow
    on the compass asked for. `within` is the number, in the tuple of finds, of a longer sequence
    that this one is a part of, or whose inner pattern it is; `inner` are the numbers of those in
    this one. `label` is the harmonic label; `alternatives` are others that it would bear, and
    `doubt` says why it is not sure, if it is not.
    """

    start_q: Fraction
    unit_q: Fraction
    links: int
    step_degrees: int
    shift_semitones: int | None
    kind: Kind
    key: Key
    label: str | None
    who: tuple[Who, ...]
    parts: tuple[str, ...]
    exact: tuple[float, ...]
    break_off: BreakOff
    left: int
    within: int | None = None
    inner: tuple[int, ...] = ()
    alternatives: tuple[str, ...] = ()
    doubt: str | None = None

    @property
    def end_q(self) -> Fraction:
        """Where the last link ends."""
        return self.start_q + self.links * self.unit_q

    @property
    def mean_exact(self) -> float:
        """How exact the copies are on the whole."""
        return sum(self.exact) / len(self.exact)
