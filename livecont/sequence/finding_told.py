"""What there is to tell of a sequence that was found: kind, key, label, end, links left.

Conventions: as in `finding_values`.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from livecont.music.compass import Compass
from livecont.music.score import Score
from livecont.sequence.analysis import analysed
from livecont.sequence.finding_lags import Run
from livecont.sequence.finding_merge import everyone
from livecont.sequence.finding_pattern import (
    Pair,
    before,
    key_near,
    links_left,
    pairs_of,
    pattern_of,
)
from livecont.sequence.finding_textures import Everyone, Who, names_of, taking_part
from livecont.sequence.finding_values import BreakOff, Find, Off
from livecont.sequence.pattern import Kind, Pattern

VARIED = 0.5  # F1 of what follows with what the next link would have
BEFORE_Q = 16  # how far back the accidentals in force are looked for


def pattern_in(score: Score, find: Find) -> Pattern:
    """Return a find as the pattern that the live engine carries on."""
    end_q = find.end_q
    notes = taking_part(score.within(find.start_q, end_q), find.who)
    heard = tuple(score.within(max(Fraction(0), find.start_q - BEFORE_Q), end_q - 2 * find.unit_q))
    return pattern_of(
        notes,
        start_q=find.start_q,
        unit_q=find.unit_q,
        links=find.links,
        step=find.step_degrees,
        key=find.key,
        before=before(heard, end_q - 2 * find.unit_q),
    )


def pairs_in(score: Score, find: Find) -> tuple[Pair, ...]:
    """Return the notes of a find's last two links, paired: one for each position of `pattern_in`.

    They tell which part, staff and voice a position of the pattern belongs to.
    """
    early_q = find.end_q - 2 * find.unit_q
    notes = taking_part(score.within(early_q, find.end_q), find.who)
    return pairs_of(notes, early_q, find.unit_q, find.step_degrees)


def told_of(score: Score, run: Run, among: tuple[Who, ...], ticks: int, compass: Compass) -> Find:
    """Return all there is to tell of a run in a score; `among` are those in whose notes it is."""
    start_q, unit_q = Fraction(run.start, ticks), Fraction(run.unit, ticks)
    end_q = start_q + run.links * unit_q
    who = Everyone if everyone(among, score.within(start_q, end_q)) else among
    found = Find(
        start_q=start_q,
        unit_q=unit_q,
        links=run.links,
        step_degrees=run.step,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=key_near(score, start_q, end_q),
        label=None,
        who=who,
        parts=names_of(score, who),
        exact=run.exact,
        break_off=_break_off(score, who, end_q, unit_q, run.step),
        left=0,
    )
    pattern = pattern_in(score, found)
    kind, shift = _whole_kind(score, found, pattern)
    analysis = analysed(pattern)
    return replace(
        found,
        label=None if analysis.label is None else analysis.label.text,
        alternatives=tuple(label.text for label in analysis.alternatives),
        doubt=analysis.doubt,
        shift_semitones=shift,
        kind=kind,
        left=links_left(pattern, compass),
    )


def _whole_kind(score: Score, find: Find, pattern: Pattern) -> tuple[Kind, int | None]:
    """Return the kind of all links and their step in semitones, where it is one throughout.

    The pattern tells of the last two links only, and of what follows from them.
    """
    notes = taking_part(score.within(find.start_q, find.end_q), find.who)
    pairs = [
        (pair.earlier.spelling, pair.later.spelling)
        for number in range(find.links - 1)
        for pair in pairs_of(
            notes, find.start_q + number * find.unit_q, find.unit_q, find.step_degrees
        )
        if pair.earlier is not None and pair.later is not None
    ]
    shifts = {(later.midi - earlier.midi) % 12 for earlier, later in pairs}
    if len(shifts) != 1:
        return (Kind.MIXED if pattern.kind is Kind.REAL else pattern.kind), None
    shift = next(
        later.midi - earlier.midi
        for earlier, later in pairs
        if later.staff - earlier.staff == find.step_degrees
    )
    at_home = all(note == find.key.natural(note.staff) for pair in pairs for note in pair)
    return (Kind.TONAL if at_home else Kind.REAL), shift


def _break_off(
    score: Score, who: tuple[Who, ...], end_q: Fraction, unit_q: Fraction, step: int
) -> BreakOff:
    """Compare what follows the last link with the link that would have followed."""
    last = taking_part(score.within(end_q - unit_q, end_q), who)
    follows = taking_part(score.within(end_q, end_q + unit_q), who)
    due = {(n.onset_q + unit_q, n.spelling.staff + step) for n in last if not n.grace}
    came = {(n.onset_q, n.spelling.staff) for n in follows if not n.grace}
    if not came:
        return BreakOff(at_q=end_q, how=Off.END, kept=0.0)
    kept = 2 * len(due & came) / (len(due) + len(came))
    at_q = min((onset_q for onset_q, _ in due ^ came), default=end_q + unit_q)
    taken_up = any(onset_q > at_q for onset_q, _ in due & came)
    how = Off.LEFT if at_q > end_q else Off.OTHER
    if kept >= VARIED and taken_up:
        how = Off.VARIED
    return BreakOff(at_q=at_q, how=how, kept=kept)
