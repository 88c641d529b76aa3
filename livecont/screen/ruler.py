"""The compass as a ruler, and where on it the links lie.

Conventions: one cell a key where there is room (two on wide pages), else keys share cells; the
rule is broken where an instrument has no key (short octaves). Every C is named. The sounding link
is a solid bar, the ground that coming links will cover a light one, dotted where only links lie
that the ear would lose; a dot on the rule is a key that sounds now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.cells import cell_len

from livecont.music.clarity import CLEAR
from livecont.music.compass import Compass
from livecont.music.pitch import spell_at
from livecont.screen.moment import link_now
from livecont.screen.typeset import EMPTY, Block, Line, Run, Tone, clean, crop, width_of
from livecont.screen.voices import Span, link_span, span_of
from livecont.screen.wording import octave_sign
from livecont.sitting.snapshot import Phase, Snapshot


@dataclass(frozen=True, slots=True)
class _Coming:
    """A link to come: its number, where it lies, and whether the ear will follow it."""

    number: int
    span: Span
    clear: bool


@dataclass(frozen=True, slots=True)
class Scale:
    """How keys lie on cells: `cells` in all for the keys from `lowest` on."""

    lowest: int
    keys: int
    cells: int

    def left(self, pitch: int) -> int:
        """Return the first cell of a key; keys beyond the compass lie on its ends."""
        return min(self.cells - 1, max(0, (pitch - self.lowest) * self.cells // self.keys))

    def right(self, pitch: int) -> int:
        """Return the last cell of a key."""
        after = (pitch + 1 - self.lowest) * self.cells
        return min(self.cells - 1, max(self.left(pitch), -(-after // self.keys) - 1, 0))


def scale_for(compass: Compass, width: int) -> Scale:
    """Return the widest scale that fits; a whole number of cells a key where possible."""
    keys = max(1, compass.highest - compass.lowest + 1)
    whole = width // keys
    return Scale(compass.lowest, keys, keys * min(whole, 2) if whole else max(1, width))


def ruler_block(snapshot: Snapshot, width: int, height: int) -> Block:
    """Return the ruler in at most `height` lines, most wanted first: rule, names, bar, coming."""
    if width <= 0 or height <= 0:
        return ()
    scale = scale_for(snapshot.compass, width)
    rule = _rule(snapshot, scale)
    if height == 1:
        return (rule,)
    links = _coming(snapshot)
    current = _current(snapshot)
    block: list[Line] = [_names(scale), _titled(rule, snapshot.compass, width)]
    if current is None and not links:
        return tuple(block)
    stairs = height - len(block) - 1
    if stairs >= min(4, len(links)) and links:
        block.append(_bar(scale, current, (), snapshot.phase))
        # the last link shows how far it goes, so it is kept where not all fit
        shown = links if len(links) <= stairs else (*links[: stairs - 1], links[-1])
        block += [_stair(scale, link, width) for link in shown]
    else:
        block.append(_bar(scale, current, links, snapshot.phase))
        if stairs > 0:
            block.append(_numbers(scale, links, current))
    return tuple(crop(runs, width) for runs in block[:height])


def _current(snapshot: Snapshot) -> Span | None:
    """Return the span of the link that sounds or waits, else of the last one that was heard."""
    now = link_now(snapshot)
    if now is not None:
        return link_span(now)
    return span_of(note.midi for note in (snapshot.links_heard or ((),))[-1])


def _titled(rule: Line, compass: Compass, width: int) -> Line:
    """Return the rule with the compass's title after it, where there is room."""
    title = clean(compass.title)
    if width_of(rule) + cell_len(title) + 2 <= width:
        return (*rule, Run(f"  {title}", Tone.QUIET))
    return rule


def _coming(snapshot: Snapshot) -> tuple[_Coming, ...]:
    """Return the numbers and spans of the links after the one that sounds or waits."""
    now = link_now(snapshot)
    after = now.number if now is not None else 0
    return tuple(
        _Coming(link.number, span, link.clarity is None or link.clarity >= CLEAR)
        for link in snapshot.coming
        if link.number > after and (span := link_span(link)) is not None
    )


def _names(scale: Scale) -> Line:
    """Return the names of the Cs over the rule."""
    row = [" "] * scale.cells
    free = 0
    for pitch in range(-(-scale.lowest // 12) * 12, scale.lowest + scale.keys, 12):
        name = "C" + octave_sign(spell_at(pitch, 7 * (pitch // 12 - 1)))
        at = scale.left(pitch)
        if at >= free and at + len(name) <= scale.cells:
            row[at : at + len(name)] = name
            free = at + len(name) + 1
    return (Run("".join(row).rstrip(), Tone.PLAIN),)


def _rule(snapshot: Snapshot, scale: Scale) -> Line:
    """Return the rule: a stroke at each C, broken where keys are missing, dots where keys sound."""
    row = ["─"] * scale.cells
    pitches = range(scale.lowest, scale.lowest + scale.keys)
    present = {c for p in pitches if p in snapshot.compass for c in _cells(scale, p)}
    for cell in range(scale.cells):
        if cell not in present:
            row[cell] = " "
    for pitch in pitches:
        if pitch % 12 == 0 and pitch in snapshot.compass:
            row[scale.left(pitch)] = "┴"
    row[0], row[-1] = "├", "┤"
    sounding = {scale.left(p) for p in snapshot.held if p in pitches}
    runs: list[Run] = []
    text = ""
    for cell, sign in enumerate(row):
        if cell in sounding:
            runs += [Run(text, Tone.QUIET), Run("●", Tone.STRONG)]
            text = ""
        else:
            text += sign
    return tuple(run for run in (*runs, Run(text, Tone.QUIET)) if run.text)


def _cells(scale: Scale, pitch: int) -> range:
    return range(scale.left(pitch), scale.right(pitch) + 1)


def _bar(scale: Scale, current: Span | None, coming: Sequence[_Coming], phase: Phase) -> Line:
    """Return the current link's bar, over the ground of the coming ones."""
    row = [" "] * scale.cells
    for one in sorted(coming, key=lambda one: one.clear):
        for cell in range(scale.left(one.span.lowest), scale.right(one.span.highest) + 1):
            row[cell] = "░" if one.clear else "·"
    if current is None:
        return _trimmed((Run("".join(row).rstrip(), Tone.QUIET),))
    first, last = scale.left(current.lowest), scale.right(current.highest)
    sign = "▒" if phase is Phase.READY else "█"
    tone = Tone.PLAIN if phase is Phase.UNDERSTOOD else Tone.OURS
    return _trimmed(
        (
            Run("".join(row[:first]), Tone.QUIET),
            Run(sign * (last - first + 1), tone),
            Run("".join(row[last + 1 :]).rstrip(), Tone.QUIET),
        )
    )


def _trimmed(runs: tuple[Run, ...]) -> Line:
    if not "".join(run.text for run in runs).strip():
        return EMPTY
    return tuple(run for run in runs if run.text)


def _edge(span: Span, before: Span | None) -> int:
    """Return the end of a span that leads the way: the lower one unless it climbs."""
    climbs = before is not None and span.lowest > before.lowest
    return span.highest if climbs else span.lowest


def _numbers(scale: Scale, links: Sequence[_Coming], current: Span | None) -> Line:
    """Return the coming links' numbers, each below the edge that its span will reach.

    The last has its place first, since it says where the chain ends; others where there is room.
    """
    row = [" "] * scale.cells
    edges = []
    before = current
    for one in links:
        edges.append((scale.left(_edge(one.span, before)), str(one.number)))
        before = one.span
    for at, name in edges[-1:] + edges[:-1]:
        first = min(at, scale.cells - len(name))
        around = row[max(0, first - 2) : first + len(name) + 2]
        if first >= 0 and all(sign == " " for sign in around):
            row[first : first + len(name)] = name
    return _trimmed((Run("".join(row).rstrip(), Tone.QUIET),))


def _stair(scale: Scale, coming: _Coming, width: int) -> Line:
    """Return one coming link's span on a line of its own, its number after it."""
    number, span = coming.number, coming.span
    first, last = scale.left(span.lowest), scale.right(span.highest)
    rule = ("─" if coming.clear else "·") * (last - first + 1)
    text = f"{'':{first}}{rule} {number}" if first else f"{rule} {number}"
    if len(text) > width:
        text = f"{number} ".rjust(first) + rule
    return (Run(text, Tone.QUIET),)
