"""What a sequence is: its label, the harmonies and main notes of its link.

Pure, and a matter of some milliseconds: for the moment when a pattern is understood, never for the
path of a note.

Conventions: as in `analysis_values`; `analysis_links` tells of any link.
"""

from __future__ import annotations

from itertools import pairwise

from livecont.music.harmony import Harmony, harmony_on
from livecont.music.harmony_notes import LinkTone, Tone, tones_of
from livecont.music.harmony_segments import Reading, readings
from livecont.music.label import Label, make_label
from livecont.music.numeral import applied_to
from livecont.sequence.analysis_doubt import apart, doubt_about
from livecont.sequence.analysis_links import (
    figures_at,
    harmonies_at,
    numerals_at,
    reduced,
    roots_told,
)
from livecont.sequence.analysis_values import Analysis
from livecont.sequence.analysis_variants import variants_of
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Pattern
from livecont.sequence.reduction import (
    Stretch,
    linear_motions,
    members_of,
    reduction_of,
)

__all__ = [
    "Analysis",
    "analysed",
    "figures_at",
    "harmonies_at",
    "numerals_at",
    "reduced",
    "roots_told",
]

# readings that are so much less likely than the best one are not told beside it, in nats
FAR = 3.0
MOST_ALTERNATIVES = 3
PLACES = 7
SEVENTH = 6
# a seventh counts if it sounds for so much of its harmony; a passing one is shorter than that
SEVENTH_SHARE = 0.1
HEAD_UNITS = 0.01
PASSING_SHARE = 0.3
LONG_SHARE = 0.6  # one that comes from the root by step


def analysed(pattern: Pattern) -> Analysis:
    """Return what a pattern is."""
    step = pattern.step_degrees
    notes = _notes(pattern)
    found = readings(notes, step, pattern.key, pattern.unit_s)
    known = len(pattern.positions[0].heard) if pattern.positions else 0
    first = pattern.links_heard - known + 1
    if not found:
        return _nothing(first)
    tones, _ = tones_of(notes, step)
    stretches = _stretches(found[0])
    spelled = Course(pattern).spelled(first)
    members = tuple(members_of(tones, stretch) for stretch in stretches)
    harmonies = tuple(
        harmony_on(
            stretch.root,
            [s for i in inside if (s := spelled[i]) is not None],
            spelled[inside[0]] if inside else None,
            pattern.key,
            seventh=_has_seventh(tones, stretch),
            start_units=stretch.start,
        )
        for stretch, inside in zip(stretches, members, strict=True)
    )
    reduction = reduction_of(tones, stretches, step)
    others = apart(found, step)
    near = [r for r in others[:MOST_ALTERNATIVES] if found[0].merit - r.merit <= FAR]
    return Analysis(
        label=_named(found[0], pattern, harmonies, tones),
        alternatives=tuple(_label(reading, pattern) for reading in near),
        doubt=doubt_about((found[0], *others), tones, stretches, step),
        harmonies=harmonies,
        reduction=reduction,
        linear_steps=(step,) * len({note.voice for note in reduction}),
        link=first,
        members=members,
        linear_motions=linear_motions(reduction, spelled, step),
    )


def _nothing(link: int) -> Analysis:
    return Analysis(
        label=None,
        alternatives=(),
        doubt="nothing sounds",
        harmonies=(),
        reduction=(),
        linear_steps=(),
        link=link,
    )


def _notes(pattern: Pattern) -> tuple[LinkTone, ...]:
    return tuple(
        LinkTone(start=max(0.0, p.offset_units), end=p.offset_units + p.articulation, heard=p.heard)
        for p in pattern.positions
    )


def _stretches(reading: Reading) -> tuple[Stretch, ...]:
    starts = [cut.start_units for cut in reading.cuts]
    ends = [*starts[1:], starts[0] + 1.0]
    return tuple(
        Stretch(start=start, end=end, root=cut.root)
        for start, end, cut in zip(starts, ends, reading.cuts, strict=True)
    )


def _has_seventh(tones: tuple[Tone, ...], stretch: Stretch) -> bool:
    """Whether a seventh sounds, and not only in passing.

    One that stands at the head or comes twice is meant; else it is if it is long, or if it leaps or
    goes down and does not come from the root by step.
    """
    sevenths = [
        tone
        for tone in tones
        if (tone.place - stretch.root) % PLACES == SEVENTH
        and not tone.suspended
        and stretch.shared(tone) > HEAD_UNITS
    ]
    meant = (
        len(sevenths) > 1
        or any(tone.start <= stretch.start + HEAD_UNITS for tone in sevenths)
        or any(_stays(tone, stretch) for tone in sevenths)
    )
    return meant and sum(map(stretch.shared, sevenths)) >= SEVENTH_SHARE * stretch.length


def _stays(seventh: Tone, stretch: Stretch) -> bool:
    """Whether a seventh inside a harmony is more than a passing or neighbour note."""
    if seventh.after and max(seventh.after) == 1:
        return False
    if 1 in seventh.before:
        return seventh.length >= LONG_SHARE * stretch.length
    leaps = not (seventh.before | seventh.after) - {0}
    return leaps or -1 in seventh.after or seventh.length >= PASSING_SHARE * stretch.length


def _label(reading: Reading, pattern: Pattern, *, fourth_first: bool = False) -> Label:
    step = pattern.step_degrees
    return make_label(step, reading.motions(step), fourth_first=fourth_first)


def _named(
    reading: Reading, pattern: Pattern, harmonies: tuple[Harmony, ...], tones: tuple[Tone, ...]
) -> Label:
    """The label with what is special about the harmonies."""
    key = pattern.key
    applied = tuple(applied_to(one, key, into) is not None for one, into in pairwise(harmonies))
    label = _label(reading, pattern, fourth_first=bool(applied and applied[0]))
    return make_label(
        label.step_degrees,
        label.motions,
        variants_of(harmonies, tones, applied=any(applied)),
        fourth_first=bool(applied and applied[0]),
    )
