"""What speaks for and against a harmony: every number of the segmentation, with its origin.

Conventions: merits are in nats: a reading whose merit is 1 higher is e times as likely. The form is
Pardo & Birmingham's (2002): notes that match count for a template, notes outside and members
missing count against it; what the features are is said where they are worked out
(`harmony_features`). The numbers are common practice as numbers, set by hand and tried on the
development cases. Weights fitted to one half of the works did no better on the other half.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass

PLACES = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """Parameters of the segmentation, in the order of the features."""

    # a beat of the root, third, fifth; of a seventh, of one that resolves over the same bass
    root: float = 1.0
    third: float = 1.0
    fifth: float = 0.8
    seventh: float = 0.3
    seventh_delayed: float = -0.4
    # a beat of a note outside: a suspension, a note by step, a leaning note, struck early, another,
    # a sixth above the root
    suspension: float = -0.1
    by_step: float = -0.15
    leaning: float = -0.5
    early: float = -0.8
    outside: float = -1.2
    sixth: float = -1.4
    # a beat of a seventh that does not go down
    loose: float = -0.4
    # of the root, third, fifth there is nothing
    no_root: float = -0.8
    no_third: float = -0.4
    no_fifth: float = -0.1
    # the bass is on the root, third, fifth, seventh or elsewhere, for what share of the harmony
    bass_root: float = 0.4
    bass_third: float = 0.3
    bass_fifth: float = -0.5
    bass_seventh: float = -0.3
    bass_outside: float = -0.6
    # the same of the bass when it begins
    first_root: float = 0.2
    first_third: float = 0.1
    first_fifth: float = -0.2
    first_seventh: float = -0.1
    first_outside: float = -0.4
    # the triad is diminished; and its root in the bass; or augmented
    diminished: float = -0.2
    diminished_low: float = -0.4
    augmented: float = -0.4
    # a harmony; less where much begins, where the bass is struck, where the bass moves; more where
    # it begins at no plain part of the link
    change: float = -1.5
    begins: float = 0.5
    bass_struck: float = 0.3
    bass_moves: float = 0.3
    off_beat: float = -0.3
    # it is shorter than a beat, by so much of a beat
    short: float = -0.8
    # its length is no plain part of the link
    odd: float = -0.5
    # a beat of a member with another accidental than it has else in the harmony
    contradicted: float = -1.0
    # it fills the whole link
    whole: float = 0.0
    # a motion of the root by 1..6 places up, to the next harmony
    up_second: float = 0.1
    up_third: float = -0.3
    up_fourth: float = 0.5
    up_fifth: float = 0.2
    up_sixth: float = 0.2
    up_seventh: float = 0.0

    @property
    def vector(self) -> tuple[float, ...]:
        """The weights of the features of one harmony, in their order."""
        return tuple(astuple(self))[: 1 - PLACES]

    @property
    def motion(self) -> tuple[float, ...]:
        """What a motion of the root by 0..6 places up is worth."""
        return (0.0, *tuple(astuple(self))[1 - PLACES :])


WEIGHTS = Weights()
