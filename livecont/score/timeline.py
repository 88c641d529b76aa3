"""From the reading library's timeline to our own values.

Conventions: as in `timeline_bars`.
"""

from __future__ import annotations

import bisect
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any

from livecont.errors import ScoreError
from livecont.music.pitch import LETTERS, Spelling, spell_at
from livecont.music.score import Meter, Part, Score, ScoreNote, Signature
from livecont.score.musicxml import BarMark
from livecont.score.timeline_bars import (
    Clock,
    Mover,
    Moves,
    Sheet,
    bars_of,
    endings_of,
    repeats_of,
    with_pickups,
)
from livecont.score.untrusted import clean_text

MOST_QUARTERS = 100_000  # a day of music
MOST_FIFTHS = 7
_HIGHEST = 127


def to_score(
    sources: Sequence[Any],
    marks: Sequence[BarMark] = (),
    names: Sequence[str] = (),
    *,
    through_the_page: bool = False,
) -> Score:
    """Return the library's score as ours.

    Args:
        sources: the library's parts and groups of parts, in the order printed.
        marks: repeats and endings, by the bars of the first part.
        names: the parts' names, where the library does not read them.
        through_the_page: staves are numbered from the top of the page, not by part.

    Raises:
        ScoreError: no bars, or beyond all measure.
    """
    sheets, parts = _sheets(sources, names, through_the_page)
    if not sheets:
        raise ScoreError("no part in it")
    bars, moves = bars_of(sheets)
    notes = [note for sheet in sheets for note in _notes(sheet, moves)]
    notes.sort(key=lambda n: (n.onset_q, n.part, n.staff, n.voice, not n.grace, n.spelling.staff))
    meters = _meters(sheets, moves)
    staves = [1] * len(parts)
    for note in notes:
        staves[note.part] = max(staves[note.part], note.staff)
    score = Score(
        parts=tuple(
            Part(name=name, staves=count) for name, count in zip(parts, staves, strict=True)
        ),
        notes=tuple(notes),
        bars=with_pickups(bars, meters),
        meters=meters,
        signatures=_signatures(sheets, moves),
        repeats=repeats_of(marks, bars),
        endings=endings_of(marks, bars),
    )
    if score.length_q > MOST_QUARTERS:
        raise ScoreError(f"longer than {MOST_QUARTERS} quarters: no piece")
    return score


def _sheets(
    sources: Sequence[Any], names: Sequence[str], through_the_page: bool
) -> tuple[list[Sheet], list[str]]:
    sheets: list[Sheet] = []
    parts: list[str] = []
    for source in sources:
        leaves = list(_leaves(source))
        places: list[tuple[int, int | None]] = []
        if len(leaves) > 1 and getattr(source, "group_symbol", None) == "brace":
            parts.append(clean_text(source.group_name))  # staves of one instrument
            places += [(len(parts) - 1, staff) for staff in range(1, len(leaves) + 1)]
        else:
            for leaf in leaves:
                parts.append(clean_text(leaf.part_name))
                places.append((len(parts) - 1, None))
        for leaf, (part, staff) in zip(leaves, places, strict=True):
            clock = Clock(leaf.quarter_durations())
            above = _lowest_staff(leaf) - 1 if through_the_page else 0
            sheets.append(
                Sheet(source=leaf, part=part, only_staff=staff, staves_above=above, clock=clock)
            )
    if names and len(names) == len(parts):
        parts = [clean_text(name) for name in names]
    return sheets, distinct_names(parts)


def _lowest_staff(leaf: Any) -> int:
    from partitura.score import Note

    staves = (note.staff for note in leaf.iter_all(Note, include_subclasses=True) if note.staff)
    return int(min(staves, default=1))


def _leaves(source: Any) -> Iterable[Any]:
    children = getattr(source, "children", None)
    if children is None:
        yield source
    else:
        for child in children:
            yield from _leaves(child)


def distinct_names(names: Sequence[str]) -> list[str]:
    """Return the parts' names, told apart by numbers where several are alike or empty.

    >>> distinct_names(["Violin", "Violin", ""])
    ['Violin 1', 'Violin 2', 'part 3']
    """
    result: list[str] = []
    for index, given in enumerate(names):
        name = given or f"part {index + 1}"
        if given and names.count(given) > 1:
            name = f"{given} {names[: index + 1].count(given)}"
        while name in result:
            name += "'"
        result.append(name)
    return result


def _notes(sheet: Sheet, moves: Moves) -> Iterable[ScoreNote]:
    from partitura.score import GraceNote, Note, Transposition

    mover = Mover(sheet, moves)
    shifts = [
        (shift.start.t, int(shift.diatonic or 0), int(shift.chromatic or 0))
        for shift in sheet.source.iter_all(Transposition)
    ]
    for note in sheet.source.iter_all(Note, include_subclasses=True):
        if note.tie_prev is not None or note.step is None or note.octave is None:
            continue
        spelled = _sounding(note, shifts)
        if not 0 <= spelled.midi <= _HIGHEST:
            raise ScoreError(f"a note {spelled.name} that no instrument has")
        grace = isinstance(note, GraceNote)
        onset_q = mover(note.start.t)
        end_q = onset_q if grace else mover(_tied_end(note))
        staff = sheet.only_staff or max(1, (note.staff or 1) - sheet.staves_above)
        yield ScoreNote(
            onset_q=onset_q,
            duration_q=max(Fraction(0), end_q - onset_q),
            spelling=spelled,
            part=sheet.part,
            staff=staff,
            voice=note.voice or 1,
            grace=grace,
        )


def _sounding(note: Any, shifts: Sequence[tuple[int, int, int]]) -> Spelling:
    staff = 7 * int(note.octave) + LETTERS.index(str(note.step).upper())
    written = Spelling(staff, int(note.alter or 0))
    index = bisect.bisect_right(shifts, note.start.t, key=lambda shift: shift[0]) - 1
    if index < 0:
        return written
    _, diatonic, chromatic = shifts[index]
    return spell_at(written.midi + chromatic, staff + diatonic)


def _tied_end(note: Any) -> int:
    """Follow the ties, however many, and no circle of them."""
    seen = {id(note)}
    while note.tie_next is not None and id(note.tie_next) not in seen:
        note = note.tie_next
        seen.add(id(note))
    return int(note.end.t)


def _meters(sheets: Sequence[Sheet], moves: Moves) -> tuple[Meter, ...]:
    sheet = sheets[0]
    mover = Mover(sheet, moves)
    found = [
        Meter(at_q=mover(sign.start.t), beats=int(sign.beats), beat_type=int(sign.beat_type))
        for sign in sheet.source.time_sigs
        if sign.beats and sign.beat_type
    ]
    return tuple(_changes(found, lambda m: (m.beats, m.beat_type)))


def _signatures(sheets: Sequence[Sheet], moves: Moves) -> tuple[Signature, ...]:
    """The signatures as they sound, from the first part that is written as it sounds."""
    from partitura.score import Transposition

    sheet = next((one for one in sheets if not list(one.source.iter_all(Transposition))), sheets[0])
    shift = next(iter(sheet.source.iter_all(Transposition)), None)
    fifths = 7 * int(shift.chromatic or 0) - 12 * int(shift.diatonic or 0) if shift else 0
    mover = Mover(sheet, moves)
    found = [
        Signature(
            at_q=mover(sign.start.t),
            fifths=int(sign.fifths or 0) + fifths,
            mode=sign.mode if sign.mode in ("major", "minor") else None,
        )
        for sign in sheet.source.key_sigs
        if abs(int(sign.fifths or 0) + fifths) <= MOST_FIFTHS
    ]
    return tuple(_changes(found, lambda s: (s.fifths, s.mode)))


def _changes(found: list[Any], told: Any) -> Iterable[Any]:
    """The last sign of each place, without those that change nothing."""
    before = None
    for index, sign in enumerate(found):
        if index + 1 < len(found) and found[index + 1].at_q == sign.at_q:
            continue
        if told(sign) != before:
            before = told(sign)
            yield sign
