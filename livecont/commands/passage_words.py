"""What is told of a passage that was carried on, in a few lines."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from livecont.commands.find_table import number
from livecont.screen.wording import step_words

if TYPE_CHECKING:
    from livecont.music.score import Score
    from livecont.passages import Found
    from livecont.sequence.extending import Extension, Span


def told_of_find(found: Found) -> str:
    """Return a line on the sequence: where, how long, which way, whose."""
    one = found.listed
    find = one.find
    end = one.end.bar
    bars = f"bar {one.start.bar}" if one.start.bar == end else f"bars {one.start.bar}-{end}"
    step = step_words(find.step_degrees, find.shift_semitones, find.kind)
    who = "" if one.parts == "all" else f", {one.parts}"
    unit = f"{number(one.unit_beats)} beat{'' if one.unit_beats == 1 else 's'}"
    return f"{bars}: {find.links} links of {unit}, {step}, {find.kind.value}, {find.key.name}{who}"


def told_of_others(found: Found) -> str | None:
    """Return a line on the other sequences in these bars, None where there are none."""
    if not found.others:
        return None
    one = found.others[0]
    more = f" and {len(found.others) - 1} more" if len(found.others) > 1 else ""
    return (
        f"another in these bars: {one.start.bar}-{one.end.bar}, {one.parts}{more}; "
        "name it with --bars, --part or --staff"
    )


def told_of_new(extension: Extension) -> str:
    """Return a line on what was added."""
    new = extension.new
    if not new:
        return f"no new link{_left(extension)}"
    first, last = new[0], new[-1]
    many = f"links {first.number}-{last.number}" if len(new) > 1 else f"link {first.number}"
    told = f"new: {many}, {_bars(extension.score, first.start_q, last.end_q)}"
    told += "".join(
        f", {word} at link {span.number}"
        for word, span in (
            ("folds", _first(new, "folded")),
            ("turns back", _first(new, "turned")),
            ("cadence", _first(new, "cadence")),
        )
        if span is not None
    )
    piece = [span for span in extension.spans if span.whose == "piece"]
    if piece:
        told += f"; the piece goes on in bar {extension.score.place(piece[0].start_q).bar}"
    return told + _left(extension)


def _left(extension: Extension) -> str:
    if extension.left is None:
        return ""
    return f"; {extension.left} more link{'' if extension.left == 1 else 's'} would have room"


def _first(spans: tuple[Span, ...], whose: str) -> Span | None:
    return next((span for span in spans if span.whose == whose), None)


def _bars(score: Score, start_q: Fraction, end_q: Fraction) -> str:
    first, last = score.bar_index(start_q), score.bar_index(end_q)
    if last > first and score.bars[last].start_q == end_q:
        last -= 1
    names = score.bars[first].number, score.bars[last].number
    return f"bar {names[0]}" if first == last else f"bars {names[0]}-{names[1]}"
