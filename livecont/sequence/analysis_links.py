"""What any link of a sequence is: harmonies, numerals, figured bass, main notes.

Conventions: links are numbered from 1, the model; any link from the first known on can be asked
for, those to come as well. Accidentals are those that the link really has.
"""

from __future__ import annotations

from livecont.music.harmony import PLACES, Harmony, harmony_on
from livecont.music.key import Key
from livecont.music.numeral import figured_bass, numerals
from livecont.music.pitch import spell_at
from livecont.sequence.analysis_values import Analysis
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Kind, LinkNote
from livecont.sequence.reduction import notes_of

AT_START = 0.01


def harmonies_at(analysis: Analysis, course: Course, number: int) -> tuple[Harmony, ...]:
    """Return the harmonies of a link."""
    spelled = course.spelled(number)
    ahead = (number - analysis.link) * course.pattern.step_degrees
    found = []
    key = key_at(analysis, course, number)
    for harmony, members in zip(analysis.harmonies, analysis.members, strict=True):
        sounding = [pitch for i in members if (pitch := spelled[i]) is not None]
        # a link that is spelled on other places of the staff as a whole has its roots there
        away = _respelled(analysis, course, number) + ahead
        found.append(
            harmony_on(
                (harmony.root.letter + away) % PLACES,
                sounding,
                spelled[members[0]] if members else None,
                key,
                seventh=harmony.seventh,
                start_units=harmony.start_units,
            )
        )
    return tuple(found)


def key_at(analysis: Analysis, course: Course, number: int) -> Key:
    """Return the key that a link is in: a real sequence takes its key along, others keep theirs."""
    pattern, key = course.pattern, course.pattern.key
    if pattern.kind is not Kind.REAL or pattern.shift_semitones is None:
        return key
    ahead = number - 1
    away = (_respelled(analysis, course, number) + 3) % PLACES - 3  # the nearer way round
    tonic = key.natural(4 * PLACES + key.letter)
    moved = spell_at(
        tonic.midi + ahead * pattern.shift_semitones,
        tonic.staff + ahead * pattern.step_degrees + away,
    )
    return Key(moved.letter, moved.alter, key.mode)


def _respelled(analysis: Analysis, course: Course, number: int) -> int:
    """By how many places a link as a whole is spelled away from where the step leads."""
    model, link = course.spelled(analysis.link), course.spelled(number)
    ahead = (number - analysis.link) * course.pattern.step_degrees
    away = [b.staff - a.staff - ahead for a, b in zip(model, link, strict=True) if a and b]
    return sorted(away)[len(away) // 2] % PLACES if away else 0


def numerals_at(analysis: Analysis, course: Course, number: int) -> tuple[str, ...]:
    """Return the roman numerals of a link, in the pattern's key.

    In a real sequence those of a link are in the key that it has come to, which is named before the
    first of them: 'C: V7', 'I'.
    """
    key = key_at(analysis, course, number)
    harmonies = harmonies_at(analysis, course, number)
    after = harmonies_at(analysis, course, number + 1)
    found = numerals(harmonies, key, after[0] if after else None)
    if not found or key == course.pattern.key:
        return found
    tonic = key.tonic if not key.minor else key.tonic[0].lower() + key.tonic[1:]
    return (f"{tonic}: {found[0]}", *found[1:])


def figures_at(analysis: Analysis, course: Course, number: int) -> tuple[tuple[str, str], ...]:
    """Return the figured bass of a link: each bass note's name with its figures."""
    return tuple(
        (harmony.bass.name, figured_bass(harmony, course.pattern.key))
        for harmony in harmonies_at(analysis, course, number)
    )


def roots_told(analysis: Analysis, course: Course, links: int = 2) -> tuple[tuple[float, str], ...]:
    """Return the roots of some links, each with its place in units from the first one's start.

    What holds at that start, having begun before, stands at 0.
    """
    found = [
        (number + harmony.start_units, harmony.root.name)
        for number in range(links)
        for harmony in harmonies_at(analysis, course, analysis.link + number)
    ]
    if found and found[0][0] > AT_START:
        last = analysis.harmonies[-1].root.letter - course.pattern.step_degrees
        found.insert(0, (0.0, course.pattern.key.natural(last).letter_name))
    elif found:
        found[0] = (0.0, found[0][1])
    return tuple(found)


def reduced(analysis: Analysis, course: Course, number: int) -> tuple[LinkNote, ...]:
    """Return the main notes of a link, to be played or written."""
    return notes_of(analysis.reduction, course.pattern, course.spelled(number))
