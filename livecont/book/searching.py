"""Searching the book: what is wanted, and the conditions that say so in SQL.

Conventions: conditions hold our own names only, whatever the player writes is a value. `folded` is
a function that the book gives its connection: a text without regard to capitals.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from livecont.music.key import Key
from livecont.sequence.pattern import Kind

NEAR_S = 0.1  # a length in seconds is asked for to this part of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which entries are looked for; what is None or empty does not matter.

    `text` is looked for in titles, sources, bars, remarks and tags, capitals aside; `label` is how
    a label begins. `unit_q` finds a length on paper exactly, `unit_s` one as played within a tenth.
    """

    text: str = ""
    label: str | None = None
    step_degrees: int | None = None
    unit_q: Fraction | None = None
    unit_s: float | None = None
    key: Key | None = None
    kind: Kind | None = None
    tags: tuple[str, ...] = ()
    starred: bool = False


def conditions(wanted: Wanted) -> tuple[str, list[object]]:
    """Return the conditions of a search in SQL, empty for all, and their values."""
    asked: list[tuple[str, list[object]]] = []
    for word in wanted.text.split():
        places = ("title", "source", "bars", "remarks")
        found = " OR ".join(f"instr(folded({place}), ?) > 0" for place in places)
        tagged = "EXISTS (SELECT 1 FROM tags WHERE entry = number AND instr(folded(tag), ?) > 0)"
        asked.append((f"({found} OR {tagged})", [word.casefold()] * 5))
    if wanted.label is not None:
        asked.append(("instr(folded(label), ?) = 1", [wanted.label.casefold()]))
    if wanted.step_degrees is not None:
        asked.append(("step_degrees = ?", [wanted.step_degrees]))
    if wanted.unit_q is not None:
        asked.append(("unit_quarters = ?", [str(wanted.unit_q)]))
    if wanted.unit_s is not None:
        bounds: list[object] = [wanted.unit_s * (1 - NEAR_S), wanted.unit_s * (1 + NEAR_S)]
        asked.append(("unit_quarters IS NULL AND unit_s BETWEEN ? AND ?", bounds))
    if wanted.key is not None:
        asked.append(("key = ?", [wanted.key.name]))
    if wanted.kind is not None:
        asked.append(("kind = ?", [wanted.kind.value]))
    if wanted.starred:
        asked.append(("starred = 1", []))
    for tag in wanted.tags:
        asked.append(("EXISTS (SELECT 1 FROM tags WHERE entry = number AND tag = ?)", [tag]))
    where = " AND ".join(condition for condition, _ in asked)
    return (f"WHERE {where}" if where else ""), [value for _, values in asked for value in values]
