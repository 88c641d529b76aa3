"""What a second library (music21) reads in a file that we wrote, as plain values to compare.

Conventions: onsets and lengths in quarters as exact fractions; names such as 'F#4'. Ties are
followed here, note by note, as music21's own way of doing so leaves some chords as they are.
"""

from __future__ import annotations

import warnings
from collections import Counter
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any

import music21

from livecont.music.score import ScoreNote

Told = tuple[int, Fraction, Fraction, str]  # part, onset, length, name
FINEST = 4096


def parsed(path: Path) -> Any:
    """Return what music21 makes of a file."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return music21.converter.parse(path, forceSource=True, quantizePost=False)


def music21_notes(path: Path) -> Counter[Told]:
    """Return the notes that music21 reads in a MusicXML file, without grace notes."""
    whole = parsed(path)
    found: Counter[Told] = Counter()
    for number, part in enumerate(_instruments(whole)):
        pieces: list[tuple[Fraction, Fraction, str, str]] = []
        for staff in part:
            for element in staff.recurse().notes:
                if element.duration.isGrace:
                    continue
                onset_q = _exact(element.getOffsetInHierarchy(staff))
                length_q = _exact(element.duration.quarterLength)
                for one in element.notes if element.isChord else (element,):
                    tie = one.tie.type if one.tie is not None else ""
                    name = one.pitch.nameWithOctave.replace("-", "b")
                    pieces.append((onset_q, length_q, name, tie))
        found.update((number, *note) for note in _tied(pieces))
    return found


def _instruments(whole: Any) -> list[list[Any]]:
    """Return the parts, each as its staves."""
    groups = [list(group) for group in whole.getElementsByClass("StaffGroup")]
    braced = [group for group in groups if all("PartStaff" in part.classes for part in group)]
    result: list[list[Any]] = []
    for part in whole.parts:
        home = next((group for group in braced if part in group), None)
        if home is None:
            result.append([part])
        elif part is home[0]:
            result.append(home)
    return result


def _tied(
    pieces: Iterable[tuple[Fraction, Fraction, str, str]],
) -> list[tuple[Fraction, Fraction, str]]:
    done: list[tuple[Fraction, Fraction, str]] = []
    under_way: dict[tuple[Fraction, str], tuple[Fraction, Fraction]] = {}
    order = {"stop": 0, "continue": 0, "start": 1, "": 1}
    for onset_q, length_q, name, tie in sorted(pieces, key=lambda p: (p[0], order[p[3]])):
        start_q, end_q = onset_q, onset_q + length_q
        if tie in ("stop", "continue"):
            start_q, _ = under_way.pop((onset_q, name))
        if tie in ("start", "continue"):
            under_way[end_q, name] = start_q, end_q
        else:
            done.append((start_q, end_q - start_q, name))
    assert not under_way, "a tie that leads nowhere"
    return done


def our_notes(notes: Iterable[ScoreNote]) -> Counter[Told]:
    """Return our notes in the same values."""
    return Counter(
        (note.part, _exact(note.onset_q), _exact(note.duration_q), note.spelling.name)
        for note in notes
        if not note.grace
    )


def _exact(value: Any) -> Fraction:
    return Fraction(value).limit_denominator(FINEST)
