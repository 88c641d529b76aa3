"""What speaks for and against a harmony: every number of the segmentation, with its origin.

Conventions: merits are in beats of one voice: a root that one voice sounds for a beat brings
`member[0]`. [fit] marks what was chosen on the development cases, by halves of the works; the rest
is common practice in numbers. The form is Pardo & Birmingham's (2002): notes that match count for a
template, notes outside and members missing against it, the root has the last word.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """Parameters of the segmentation."""

    # a beat of root, third, fifth, seventh
    member: tuple[float, float, float, float] = (1.0, 1.0, 0.8, 0.25)
    # a beat of a note outside, if nothing explains it; and how far an explanation excuses it
    outside: float = 1.2
    excused: float = 0.85
    # nothing of the root, third, fifth in the segment
    missing: tuple[float, float, float] = (0.45, 0.35, 0.1)
    # the bass on root, third, fifth, seventh, elsewhere
    bass: tuple[float, float, float, float, float] = (0.5, 0.3, -0.5, -0.2, -0.6)
    # a triad with a diminished fifth; the same with its root in the bass
    diminished: float = 0.1
    diminished_low: float = 0.35
    augmented: float = 0.4
    # a harmony more
    change: float = 1.0
    # less where much begins at its start
    accent: float = 0.7
    accent_bass: float = 0.4
    # a seventh that resolves over the same bass is a suspension
    suspended_seventh: float = 0.6
    # motions of roots by 0..6 places up
    motion: tuple[float, ...] = (0.0, 0.1, -0.25, 0.5, 0.1, 0.2, 0.05)
    # where a note lies in only one of the links
    single: float = 0.5


WEIGHTS = Weights()
