"""Where a sequence goes, in words: out of the key and round its circle, or through other keys.

Conventions: as in `analysis_links` and `endings_circle`.
"""

from __future__ import annotations

from itertools import pairwise

from livecont.music.harmony import Harmony, Quality
from livecont.music.numeral import applied_to
from livecont.sequence.analysis_links import harmonies_at
from livecont.sequence.analysis_values import Analysis
from livecont.sequence.endings_circle import circle_of
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Kind

LINKS_TOLD = 3


def journey(analysis: Analysis, course: Course) -> str | None:
    """Return where a sequence goes; None where it stays in its key and nothing else is tonicised.

    A real sequence leaves its key: the tonic's stations are told, and when they come round again. A
    sequence whose links have dominants of their own tonicises what those lead to.
    """
    pattern = course.pattern
    if pattern.kind is Kind.REAL:
        circle = circle_of(pattern)
        return f"walks out of the key: {circle.said}" if circle.keys else None
    targets = tonicised(analysis, course)
    if len(targets) < LINKS_TOLD - 1:
        return None
    return f"tonicises {', '.join(targets)}"


def tonicised(analysis: Analysis, course: Course, links: int = LINKS_TOLD) -> tuple[str, ...]:
    """Return the keys that the first links lead into by dominants of their own, in order."""
    numbers = range(analysis.link, analysis.link + links + 1)
    row = [one for number in numbers for one in harmonies_at(analysis, course, number)]
    found = [
        _key_name(into)
        for one, into in pairwise(row[: links * len(analysis.harmonies) + 1])
        if applied_to(one, course.pattern.key, into) is not None
    ]
    return tuple(dict.fromkeys(found))


def _key_name(tonic: Harmony) -> str:
    name = tonic.root.name
    if tonic.quality is Quality.MINOR:
        return f"{name[0].lower()}{name[1:]} minor"
    return f"{name} major"
