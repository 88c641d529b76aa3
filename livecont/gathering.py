"""Sequences to keep: those heard in a recording, and those found in a score.

Conventions: everything handed back is in order of time; numbers that the user gives count from 1
for what was heard, and are those of `livecont find --json` for what was found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path

from livecont.book.entry import Entry
from livecont.book.keeping import label_of
from livecont.book.pattern import entry_of, entry_of_find
from livecont.errors import ConfigError, LivecontError, ScoreError
from livecont.music.key import Key
from livecont.music.score import Score
from livecont.passages import filling_best
from livecont.plainness import not_plain
from livecont.replay import OWN_TRACK, replay, with_key
from livecont.score.confined import confined
from livecont.score.reading import read_score
from livecont.score.smf import read_smf
from livecont.sequence.finding import BreakOff, Find, Off, Search, find_sequences, pattern_in
from livecont.sequence.finding_listed import Listed, listed
from livecont.sequence.finding_pattern import key_near
from livecont.sequence.finding_textures import Everyone, Who, names_of, part_named
from livecont.sequence.pattern import Kind, Pattern
from livecont.sitting.events import Settings, TookOver, Understood

SAME_UNIT = 0.15  # a tempo that bends makes no other sequence


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """Where in a score to look; `unit_q` and `step_degrees` say what is there, if given.

    Of several sequences in the same `bars` the one that fills them best is meant, if not `every`.
    """

    bars: tuple[str, str] | None = None
    part: str | None = None
    staff: int | None = None
    number: int | None = None
    unit_q: Fraction | None = None
    step_degrees: int | None = None
    every: bool = False


def heard_in(path: Path, settings: Settings, key: Key | None = None) -> tuple[Pattern, ...]:
    """Return what was taken over in a recording, or else what was at least understood last.

    Raises:
        ScoreError: it can't be read, or nothing in it was understood.
    """
    recording = read_smf(path, leave_out=(OWN_TRACK,))
    chosen = with_key(settings, key or recording.key)
    effects = list(replay(recording, chosen))
    found: list[Pattern] = []
    for one in effects:
        if isinstance(one, TookOver):
            if found and _goes_on(found[-1], one.pattern):
                found.pop()  # the player carried the chain on himself: one sequence, not two
            found.append(one.pattern)
    found = found or [one.pattern for one in effects if isinstance(one, Understood)][-1:]
    if not found:
        raise ScoreError(f"{path}: no sequence heard in it; livecont replay says what was heard")
    return tuple(found)


def _goes_on(earlier: Pattern, later: Pattern) -> bool:
    """Whether a pattern is the one before, some links on."""
    return (
        later.step_degrees == earlier.step_degrees
        and abs(later.unit_s / earlier.unit_s - 1) < SAME_UNIT
        and later.starts_s[0] < earlier.due_s + earlier.unit_s / 2
    )


def entry_heard(pattern: Pattern, source: str, created: datetime) -> Entry:
    """Return what was heard as an entry, with its label."""
    return replace(entry_of(pattern, created), source=source, label=label_of(pattern))


def is_recording(path: Path) -> bool:
    """Whether a file begins as MIDI files do."""
    try:
        if not_plain(path) is not None:
            return False
        with path.open("rb") as file:
            return file.read(4) == b"MThd"
    except OSError:
        return False  # whoever reads it says what is wrong


def entries_found(
    path: Path, passage: Passage, settings: Settings, created: datetime
) -> tuple[Entry, ...]:
    """Return the sequences of a passage, those that lie in longer ones left out, as entries.

    Raises:
        ScoreError: it can't be read, or there is no sequence, or none of this number.
    """
    try:
        found = confined(_looked_through, path, passage, settings, created)
    except ConfigError:
        raise  # a library that is missing
    except LivecontError as error:
        told = str(error)
        raise ScoreError(told if told.startswith(str(path)) else f"{path}: {told}") from error
    if not found:
        raise ScoreError(
            f"{path}: no sequence found there; to keep a passage as one all the same, give its "
            "--bars, the link's length with --unit and the --step"
        )
    return found


def _looked_through(
    path: Path, passage: Passage, settings: Settings, created: datetime
) -> tuple[Entry, ...]:
    score = read_score(path)
    found = _in_passage(score, passage, settings)
    return tuple(_entry_found(score, one, path.name, created) for one in found)


def _in_passage(score: Score, passage: Passage, settings: Settings) -> list[Listed]:
    within = score.bars_span(*passage.bars) if passage.bars is not None else None
    part = part_named(score, passage.part) if passage.part is not None else None
    if passage.unit_q is not None and passage.step_degrees is not None:
        return [*listed(score, (_as_told(score, passage, within, part),))]
    search = Search(compass=settings.compass, part=part, staff=passage.staff, within_q=within)
    found = listed(score, find_sequences(score, search))
    if passage.number is not None:
        chosen = [one for one in found if one.number == passage.number]
        if not chosen:
            raise ScoreError(f"no sequence {passage.number}: there are {len(found)}, from 0")
        return chosen
    outer = [one for one in found if one.find.within is None]
    if within is not None and outer and not passage.every:
        return [filling_best(outer, within)]
    return outer


def _as_told(
    score: Score, passage: Passage, within: tuple[Fraction, Fraction] | None, part: int | None
) -> Find:
    """Return a passage as a find, because the player says so."""
    assert passage.unit_q is not None  # noqa: S101 -- the caller's case
    assert passage.step_degrees is not None  # noqa: S101
    if within is None:
        raise ScoreError("a passage with --unit and --step needs its --bars")
    start_q, end_q = within
    links = int((end_q - start_q) / passage.unit_q)
    if links < 2:
        raise ScoreError(f"the bars hold {links} of {passage.unit_q} quarters: two links at least")
    who = Everyone
    if part is not None or passage.staff is not None:
        parts = range(len(score.parts)) if part is None else (part,)
        who = tuple(Who(part=number, staff=passage.staff) for number in parts)
    end_q = start_q + links * passage.unit_q
    told = Find(
        start_q=start_q,
        unit_q=passage.unit_q,
        links=links,
        step_degrees=passage.step_degrees,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=key_near(score, start_q, end_q),
        label=None,
        who=who,
        parts=names_of(score, who),
        exact=(1.0,) * (links - 1),
        break_off=BreakOff(at_q=end_q, how=Off.END, kept=0.0),
        left=0,
    )
    pattern = pattern_in(score, told)
    return replace(told, kind=pattern.kind, shift_semitones=pattern.shift_semitones)


def _entry_found(score: Score, one: Listed, source: str, created: datetime) -> Entry:
    entry = entry_of_find(score, one.find, created)
    bars = one.start.bar if one.start.bar == one.end.bar else f"{one.start.bar}-{one.end.bar}"
    label = entry.label or label_of(pattern_in(score, one.find))
    return replace(entry, source=source, bars=bars, label=label)
