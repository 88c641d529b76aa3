"""What the sequence is: step, label, where it leads, in lines and in large letters.

Conventions: as in `screen.panels`.
"""

from __future__ import annotations

from livecont.screen.glyphs import capitals, capitals_width
from livecont.screen.typeset import (
    EMPTY,
    Block,
    Line,
    Run,
    Tone,
    crop,
    fill,
    line,
    spread,
    width_of,
)
from livecont.screen.wording import pulse_bpm, step_figures, step_words
from livecont.screen.wording_chain import (
    arrival_words,
    changed_words,
    circle_words,
    doubt_words,
    kind_words,
    label_words,
    other_words,
    wish_words,
)
from livecont.sequence.pattern import Pattern
from livecont.sitting.snapshot import Snapshot


def statement(snapshot: Snapshot, width: int, height: int = 99) -> Block:
    """Return the step and its kind, the label, what is special, and the numbers.

    In at most `height` lines, the first of these first.
    """
    pattern = snapshot.pattern
    if pattern is None:
        return ()
    kind = line(kind_words(snapshot))
    said = line(_said(snapshot, pattern), Tone.STRONG)
    if width_of(said) + width_of(kind) + 2 > width:
        words = step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)
        said = line(words, Tone.STRONG)
    wishes: tuple[str, ...] = ()
    if width_of(said) + width_of(kind) + 2 > width:
        kind, wishes = line(str(pattern.kind)), wish_words(snapshot)
    first = spread(said, kind, width)
    facts = [*wishes, *_left_over(snapshot, width), *_facts(pattern)]
    while len(facts) > 1 and sum(map(len, facts)) + 3 * (len(facts) - 1) > width:
        facts = facts[:-1]  # how sure it is can be spared before a link is
    numbers = fill(facts, width, Tone.QUIET, gap=" · ")
    block = (first, *_named(snapshot, width), *_special(snapshot, width), *numbers)
    return block[:height]


def _said(snapshot: Snapshot, pattern: Pattern) -> str:
    """The step in words, with the way that leads there where it is known."""
    explanation = snapshot.explanation
    if explanation is not None and explanation.analysis.label is not None:
        return explanation.analysis.label.spoken
    return step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)


def _named(snapshot: Snapshot, width: int) -> Block:
    """The label, what else it may be, and why it is not sure."""
    if snapshot.explanation is None:
        return ()
    analysis = snapshot.explanation.analysis
    (label, _), others = label_words(analysis, width), other_words(analysis)
    doubt = fill(doubt_words(analysis).split(), width) if analysis.doubt else ()
    if label is None:
        return doubt
    named = line(label, Tone.STRONG)
    if others is not None and width_of(named) + len(others) + 2 <= width:
        named = spread(named, line(others, Tone.QUIET), width)
    elif doubt:
        doubt = fill(doubt_words(analysis, others=True).split(), width)
    return (crop(named, width), *doubt)


def label_line(snapshot: Snapshot, width: int) -> Block:
    """Return the label alone, in one line; nothing while it is not known."""
    explanation = snapshot.explanation
    label = None if explanation is None else label_words(explanation.analysis, width)[0]
    return () if label is None else (crop(line(label), width),)


def _left_over(snapshot: Snapshot, width: int) -> tuple[str, ...]:
    """What the label says besides, as far as its line had no room for it."""
    explanation = snapshot.explanation
    return () if explanation is None else label_words(explanation.analysis, width)[1]


def _special(snapshot: Snapshot, width: int) -> Block:
    """Where a real chain leads, and what was changed on purpose."""
    arrived, circle = arrival_words(snapshot), circle_words(snapshot)
    block: list[Line] = []
    if circle is not None:
        way = Run(f"{arrived} · " if arrived else "", Tone.STRONG)
        if len(way.text) + len(circle) > width:
            circle = circle_words(snapshot, short=True) or ""
        block.append(crop((way, Run(circle)), width))
    if snapshot.changed is not None:
        block += fill(changed_words(snapshot.changed).split(), width, Tone.OURS_QUIET)
    return tuple(block)


def large_statement(snapshot: Snapshot, width: int) -> Block:
    """Return the step in capitals with the rest below it; nothing where it does not fit."""
    pattern = snapshot.pattern
    if pattern is None:
        return ()
    words = step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)
    if capitals_width(words) > width:
        return ()
    left_over = _left_over(snapshot, width)
    facts = fill([*left_over, kind_words(snapshot), *_facts(pattern)], width, gap=" · ")
    said = line(_said(snapshot, pattern)) if snapshot.explanation is not None else EMPTY
    named = (*_named(snapshot, width), *((said,) if said else ()), *_special(snapshot, width))
    return (*capitals(words, Tone.STRONG), EMPTY, *named, *facts)


def _facts(pattern: Pattern) -> list[str]:
    pulse = pulse_bpm(pattern)
    return [
        step_figures(pattern),
        f"{pattern.unit_s:.2f} s a link",
        *([f"pulse {pulse}"] if pulse is not None else []),
        f"{100 * pattern.confidence:.0f} % sure",
    ]
