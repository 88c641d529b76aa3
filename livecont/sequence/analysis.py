"""What a sequence is: its label, the harmonies and main notes of its link.

Pure, and a matter of some milliseconds: for the moment when a pattern is understood, never for the
path of a note.

Conventions: offsets in units. The link that an analysis is of is the first one that the pattern
has pitches of; any other link has the same harmonies moved by the step, in the spelling that its
own notes have (`harmonies_at`).
"""

from __future__ import annotations

from dataclasses import dataclass

from livecont.music.harmony import Harmony, PitchName, harmony_on
from livecont.music.harmony_notes import LinkTone
from livecont.music.harmony_segments import Cut, Reading, readings
from livecont.music.label import Label, make_label
from livecont.music.pitch import Spelling
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import LinkNote, Pattern
from livecont.sequence.reduction import MainNote, linear_steps, notes_of, reduction_of

# readings whose merit is so near to the best one's are told beside it, in beats of a voice
CLOSE = 1.5
MOST_ALTERNATIVES = 3
SURE = 0.5
STARTS_TOGETHER = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """What a sequence is.

    `alternatives` are other labels that the music would bear, the likelier first. `doubt` says in
    words why the label is not sure; None where it is. `harmonies` are those of `link`, `reduction`
    its main notes, `linear_steps` by how many staff places each voice of the reduction moves from
    link to link.
    """

    label: Label | None
    alternatives: tuple[Label, ...]
    doubt: str | None
    harmonies: tuple[Harmony, ...]
    reduction: tuple[MainNote, ...]
    linear_steps: tuple[int, ...]
    link: int


def analysed(pattern: Pattern) -> Analysis:
    """Return what a pattern is."""
    found = readings(_notes(pattern), pattern.step_degrees, pattern.key, pattern.unit_s)
    first = pattern.links_heard - _known(pattern) + 1
    if not found:
        return Analysis(
            label=None,
            alternatives=(),
            doubt="nothing sounds",
            harmonies=(),
            reduction=(),
            linear_steps=(),
            link=first,
        )
    best = found[0]
    label = _label(best, pattern)
    others = tuple(
        _label(one, pattern)
        for one in found[1 : MOST_ALTERNATIVES + 1]
        if best.merit - one.merit <= CLOSE
    )
    doubt = None
    if len(found) > 1 and best.merit - found[1].merit < SURE:
        doubt = f"{others[0].text} is as likely"
    spelled = Course(pattern).spelled(first)
    harmonies = _harmonies(best.cuts, pattern, spelled)
    reduction = reduction_of(pattern, spelled, harmonies)
    return Analysis(
        label=label,
        alternatives=others,
        doubt=doubt,
        harmonies=harmonies,
        reduction=reduction,
        linear_steps=linear_steps(reduction, pattern.step_degrees),
        link=first,
    )


def harmonies_at(analysis: Analysis, course: Course, number: int) -> tuple[Harmony, ...]:
    """Return the harmonies of any link from the first known on."""
    ahead = (number - analysis.link) * course.pattern.step_degrees
    cuts = tuple(
        Cut(start_units=h.start_units, root=(h.root.letter + ahead) % 7) for h in analysis.harmonies
    )
    return _harmonies(cuts, course.pattern, course.spelled(number))


def reduced(analysis: Analysis, course: Course, number: int) -> tuple[LinkNote, ...]:
    """Return the main notes of any link from the first known on, to be played or written."""
    return notes_of(analysis.reduction, course.pattern, course.spelled(number))


def _known(pattern: Pattern) -> int:
    return len(pattern.positions[0].heard) if pattern.positions else 0


def _notes(pattern: Pattern) -> tuple[LinkTone, ...]:
    return tuple(
        LinkTone(start=max(0.0, p.offset_units), end=p.offset_units + p.articulation, heard=p.heard)
        for p in pattern.positions
    )


def _label(reading: Reading, pattern: Pattern) -> Label:
    roots = [cut.root for cut in reading.cuts]
    after = [*roots[1:], roots[0] + pattern.step_degrees]
    return make_label(pattern.step_degrees, [b - a for a, b in zip(roots, after, strict=True)])


def _harmonies(
    cuts: tuple[Cut, ...], pattern: Pattern, spelled: tuple[Spelling | None, ...]
) -> tuple[Harmony, ...]:
    """Return the harmonies of a link, given its pitches."""
    found = []
    for cut, end in zip(cuts, [*(c.start_units for c in cuts[1:]), 1.0], strict=False):
        sounding = _within(pattern, spelled, cut.start_units, end)
        bass = _bass(sounding, cut.root)
        found.append(
            harmony_on(
                cut.root,
                [s for _, s in sorted(sounding, key=lambda one: -one[0])],
                bass,
                pattern.key,
                seventh=any((s.letter - cut.root) % 7 == 6 for _, s in sounding),
                start_units=cut.start_units,
            )
        )
    return tuple(found)


def _within(
    pattern: Pattern, spelled: tuple[Spelling | None, ...], start: float, end: float
) -> list[tuple[float, Spelling]]:
    """The notes that sound in a stretch of the link, with how long they do."""
    found = []
    for position, pitch in zip(pattern.positions, spelled, strict=True):
        begins = max(start, position.offset_units)
        sounds = min(end, position.offset_units + position.articulation) - begins
        if pitch is not None and sounds > 0.01:
            found.append((sounds, pitch))
    return found


def _bass(sounding: list[tuple[float, Spelling]], root: int) -> Spelling | None:
    members = [s for _, s in sounding if (s.letter - root) % 7 in (0, 2, 4, 6)]
    return min(members, key=lambda s: s.midi, default=None)


def roots_told(analysis: Analysis, course: Course, links: int = 2) -> tuple[tuple[float, str], ...]:
    """Return the roots of some links, each with its place in units from the first one's start.

    What holds at that start, having begun before, stands at 0.
    """
    found = [
        (number + harmony.start_units, harmony.root.name)
        for number in range(links)
        for harmony in harmonies_at(analysis, course, analysis.link + number)
    ]
    if found and found[0][0] > STARTS_TOGETHER:
        last = analysis.harmonies[-1].root.letter - course.pattern.step_degrees
        found.insert(0, (0.0, course.pattern.key.natural(last).letter_name))
    return tuple(found)


def root_names(harmonies: tuple[Harmony, ...]) -> tuple[PitchName, ...]:
    """Return the roots alone."""
    return tuple(harmony.root for harmony in harmonies)
