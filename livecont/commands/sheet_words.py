"""What stands above an engraved page."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from livecont.commands.find_table import number
from livecont.screen.wording import key_words, step_words

if TYPE_CHECKING:
    from livecont.passages import Found
    from livecont.score.engraving_page import Heading
    from livecont.sequence.extending import Extension, Wish
    from livecont.sequence.extending_told import Told


def heading_of(title: str, found: Found) -> Heading:
    """Return the heading of a passage of a piece."""
    from livecont.score.engraving_page import Heading

    one = found.listed
    start, end = one.start.bar, one.end.bar
    bars = f"bar {start}" if start == end else f"bars {start}-{end}"
    who = "" if one.parts == "all" else f", {one.parts}"
    return Heading(title=title, where=bars + who)


def completed(heading: Heading, extension: Extension, told: Told, wish: Wish) -> Heading:
    """Return a heading with key, label, and what there is to know of the sequence."""
    label = told.analysis.label
    pattern = extension.passage.pattern
    where = (
        f"{heading.where}, {key_words(pattern.key)}" if heading.where else (key_words(pattern.key))
    )
    names = (label.common_name, label.spoken) if label is not None else ()
    return replace(
        heading,
        where=where.replace("-", "\N{EN DASH}"),
        label=label.text if label is not None else "",
        spoken=" \N{EM DASH} ".join(name for name in names if name),
        facts=(*_facts(extension, wish), *(label.variants if label is not None else ())),
        foot=_foot(told),
    )


def _facts(extension: Extension, wish: Wish) -> tuple[str, ...]:
    passage = extension.passage
    pattern = passage.pattern
    meter = passage.score.meter_at(passage.start_q)
    bars = passage.unit_q / meter.bar_q
    beats = passage.unit_q / meter.beat_q
    if bars.denominator == 1:
        unit = f"{bars} bar{'' if bars == 1 else 's'}"
    else:
        unit = f"{number(beats)} beat{'' if beats == 1 else 's'}"
    facts = [
        f"{passage.links} links of {unit}",
        step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind),
        pattern.kind.value,
    ]
    if extension.new:
        facts.append(f"{len(extension.new)} new")
    if extension.left is not None:
        many = f"{extension.left} more link{'' if extension.left == 1 else 's'}"
        facts.append(f"{many} left on the {wish.compass.title}")
    return tuple(facts)


def _foot(told: Told) -> str:
    """What else it might be called, where that is not sure."""
    analysis = told.analysis
    if analysis.doubt is None:
        return ""
    others = [label.said for label in analysis.alternatives if label.text not in analysis.doubt]
    more = f" Other readings: {'; '.join(others)}." if others else ""
    return f"Not sure: {analysis.doubt}.{more}"
