"""The links set like lines of verse: one under the other, what corresponds in one column.

Conventions: a link takes one line a voice (upper, inner where there is room, lower), its number
stands before it; the sounding link carries a mark and a thread below it that grows as it sounds.
Where a link has more moments than the page has room for, the ones on the beats are kept and a line
says so.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from livecont.screen.glyphs import capitals, capitals_width
from livecont.screen.listed import SHORTER, Listed, Voice, inner, listed_links, lower, upper
from livecont.screen.moment import link_now
from livecont.screen.typeset import EMPTY, Block, Line, Run, Tone, beside, crop, indent, line
from livecont.screen.voices import moments
from livecont.screen.wording import letter_name
from livecont.sitting.snapshot import Snapshot

_NARROW_PREFIX = 5  # number, mark, white
_PREFIX = 10  # the same, with 'livecont' below it
# into how many equal parts a link is divided to look for its beats, finest first
_BEATS = (48, 32, 24, 16, 12, 8, 6, 4, 3, 2, 1)
_COMFORTABLE = 3  # links that should be seen before white space goes


def links_block(snapshot: Snapshot, width: int, height: int, least: int = 2) -> Block:
    """Return as many links as there is room for, with the sounding one always among them.

    A voice is given up rather than that fewer than `least` are shown.
    """
    if snapshot.pattern is None or height <= 0:
        return ()
    starts = moments(snapshot.pattern)
    listed = listed_links(snapshot, snapshot.pattern, starts, height)
    if not listed or not starts:
        return ()
    listed, voices, spaced = _chosen(listed, height, least)
    # a page that is narrow needs every cell for notes
    prefix = _PREFIX if width >= 50 and len(voices) > 1 else _NARROW_PREFIX
    widths = _widths(listed, voices)
    if _total(widths) > width - prefix:
        shorter = [SHORTER[voice] for voice in voices]
        short_widths = _widths(listed, shorter)
        if _total(short_widths) > width - prefix:
            prefix = _NARROW_PREFIX
        if _total(short_widths) <= width - prefix:
            voices, widths = shorter, short_widths
    kept = _kept_columns(widths, starts, width - prefix)
    block: list[Line] = []
    for i, one in enumerate(listed):
        block += _set_link(one, starts, voices, kept, prefix)
        if spaced and one.now is None and i + 1 < len(listed):
            block.append(EMPTY)
    if len(kept) < len(starts) and len(block) < height:
        block += indent((line("only the notes on the beats are shown", Tone.QUIET),), prefix)
    return tuple(crop(runs, width) for runs in block[:height])


def large_link(snapshot: Snapshot, width: int) -> Block:
    """Return the link of the moment in large letters; nothing where it does not fit whole."""
    if snapshot.pattern is None:
        return ()
    starts = moments(snapshot.pattern)
    listed = listed_links(snapshot, snapshot.pattern, starts, 2)
    if not listed or not starts:
        return ()
    # before livecont has a link of its own, the last one heard
    one = listed[0] if link_now(snapshot) is not None else listed[min(1, len(listed) - 1)]
    columns = [
        tuple(
            letter_name(note) if note is not None else "" for note in (column.upper, column.lower)
        )
        for column in one.verse.columns
    ]
    widths = [max(map(capitals_width, names)) + 3 for names in columns]
    if sum(widths) > width:
        return ()
    at = _place_now(one, starts)
    block: Block = ()
    left = 0
    for i, names in enumerate(columns):
        tone = one.tone if at < 0 else Tone.OURS if i <= at else Tone.QUIET
        high, low = (capitals(name, tone) or (EMPTY,) * 4 for name in names)
        block = beside(block, left, (*high, EMPTY, *low) if one.verse.has_lower else high)
        left += widths[i]
    return (*block, EMPTY)


def _place_now(one: Listed, starts: Sequence[float]) -> int:
    """Return which of some moments the link has reached; -1 where it does not sound."""
    return -1 if one.now is None else max(0, bisect_right(starts, one.now + 1e-9) - 1)


def _chosen(
    listed: list[Listed], height: int, fewest: int
) -> tuple[list[Listed], list[Voice], bool]:
    """Return the links that fit, by number, the voices shown, and whether white lies between."""
    voices: list[Voice] = [upper]
    if any(one.verse.has_lower for one in listed):
        voices.append(lower)
    thread = any(one.now is not None for one in listed)
    least = min(_COMFORTABLE, len(listed))
    if any(one.verse.has_inner for one in listed) and height >= (len(voices) + 2) * least:
        voices.insert(1, inner)
    while len(voices) > 1 and len(voices) * min(fewest, len(listed)) + thread > height:
        voices.pop()
    # the thread lies in the white below its link, unless that link is the last
    last = max(listed, key=lambda one: one.verse.number)
    airy = (height + 1 - (last.now is not None)) // (len(voices) + 1)
    tight = max(1, (height - thread) // len(voices))
    spaced = airy >= least
    chosen = listed[: airy if spaced else tight]
    return sorted(chosen, key=lambda one: one.verse.number), voices, spaced


def _widths(listed: Sequence[Listed], voices: Sequence[Voice]) -> list[int]:
    rows = [map(len, voice(one.verse)) for one in listed for voice in voices]
    return [max(column) for column in zip(*rows, strict=True)]


def _kept_columns(
    widths: Sequence[int], starts: Sequence[float], room: int
) -> list[tuple[int, int]]:
    """Return (column, its width with white) for the columns that fit: all, or those on beats."""
    every = list(range(len(starts)))
    kept = every
    if _total(widths) > room:
        for beats in _BEATS:
            kept = [i for i in every if _on_beat(starts[i], beats)]
            if _total([widths[i] for i in kept]) <= room:
                break
        else:
            kept = every
    while kept and _total([widths[i] for i in kept]) > room:
        kept = kept[:-1]
    spare = room - _total([widths[i] for i in kept])
    gap = 1 + min(2, spare // max(1, len(kept)))
    return [(i, widths[i] + gap) for i in kept]


def _on_beat(start: float, beats: int) -> bool:
    """Whether a moment lies within a fifth of a beat of one."""
    return abs(start * beats - round(start * beats)) < 0.2


def _total(widths: Sequence[int]) -> int:
    """Return what columns take with a cell of white after each."""
    return sum(widths) + len(widths)


def _set_link(
    one: Listed,
    starts: Sequence[float],
    voices: Sequence[Voice],
    kept: Sequence[tuple[int, int]],
    prefix: int,
) -> list[Line]:
    """Return a link's lines, and its thread where it sounds."""
    at = _place_now(one, [starts[i] for i, _ in kept])
    mark = "▸" if one.now is not None else " "
    number = str(one.verse.number).ljust(prefix - 2)
    heads = [Run(f"{number}{mark} "[-prefix:], one.number_tone)]
    heads += [Run(one.label.ljust(prefix) if prefix == _PREFIX else " " * prefix, Tone.QUIET)]
    heads += [Run(" " * prefix)] * len(voices)
    lines: list[Line] = []
    for head, voice in zip(heads, voices, strict=False):
        cells = voice(one.verse)
        notes = (
            Run(cells[i].ljust(w), Tone.OURS if place == at else one.tone)
            for place, (i, w) in enumerate(kept)
        )
        lines.append((head, *notes))
    if one.now is not None:
        lines.append((Run(" " * prefix), *_thread(one.now, starts, kept)))
    return lines


def _thread(now: float, starts: Sequence[float], kept: Sequence[tuple[int, int]]) -> Line:
    """Return the thread under the sounding link: it reaches each column as its notes begin."""
    if not kept:
        return EMPTY
    places = [0]
    for _, width in kept:
        places.append(places[-1] + width)
    times = [*(starts[i] for i, _ in kept), 1.0]
    k = max(0, min(bisect_right(times, now) - 1, len(kept) - 1))
    span = times[k + 1] - times[k]
    within = min(1.0, max(0.0, (now - times[k]) / span)) if span > 0 else 1.0
    end = max(places[-1] - 1, 1)
    reached = max(1, min(round(places[k] + within * kept[k][1]), end))
    return Run("━" * reached, Tone.OURS), Run("─" * (end - reached), Tone.QUIET)
