"""The page of a lesson or of the ear game, for every size of terminal.

Conventions: sizes in cells and lines. The word of the moment is set large, so that it can be read
from the back of a room; below it what is said, note by note where a link was answered, and what
there is to choose from; the foot has what can be pressed. Without colour everything stays: marks
are discs, faults stand in brackets.
"""

from __future__ import annotations

from livecont.screen.ear_glyphs import sentence
from livecont.screen.ear_view import Beside, EarView, Turn
from livecont.screen.glyphs import CAPITALS, NUMERALS, capitals, capitals_width, numerals
from livecont.screen.typeset import (
    EMPTY,
    Block,
    Line,
    Run,
    Sheet,
    Tone,
    clean,
    crop,
    fill,
    indent,
    line,
    spread,
    to_height,
    width_of,
)

BROAD = (150, 40)
MOST_MARKS = 24
TONES = {
    Turn.OURS: Tone.OURS,
    Turn.YOURS: Tone.STRONG,
    Turn.TOLD: Tone.STRONG,
    Turn.SHOWN: Tone.STRONG,
    Turn.WAITING: Tone.QUIET,
    Turn.OVER: Tone.QUIET,
}
TURNS = {
    Turn.OURS: "livecont plays",
    Turn.YOURS: "you play",
    Turn.TOLD: "the verdict",
    Turn.SHOWN: "go on when you like",
    Turn.WAITING: "it waits",
    Turn.OVER: "the end",
}


def render_ear(view: EarView, *, width: int, height: int) -> Sheet:
    """Return a page of exactly `height` lines, none wider than `width`."""
    width, height = max(1, width), max(1, height)
    broad = width >= BROAD[0] and height >= BROAD[1]
    margin = 6 if broad else 2 if width >= 60 else 0
    measure = width - 2 * margin
    head = _head(view, measure)
    foot = _foot(view, measure)
    room = height - len(head) - len(foot)
    body = to_height(_body(view, measure, room, broad), room)
    block = indent((*head, *body, *foot), margin)
    return Sheet(tuple(crop(runs, width) for runs in to_height(block, height)), width)


def _head(view: EarView, measure: int) -> Block:
    where = []
    if view.number is not None and view.of is not None:
        where.append(f"{view.number} of {view.of}")
    if view.level is not None and view.top is not None:
        where.append(f"level {view.level} of {view.top}")
    marks = "".join("●" if right else "○" for right in view.marks[-MOST_MARKS:])
    return (
        EMPTY,
        spread(line(clean(view.title), Tone.STRONG), line(clean(view.who), Tone.STRONG), measure),
        spread(line(" · ".join(where), Tone.QUIET), line(marks), measure),
        line("─" * measure, Tone.QUIET),
    )


def _body(view: EarView, measure: int, room: int, broad: bool) -> Block:
    """Return what is shown; the more there is to say, the smaller the word of the moment."""
    small = room < 12 or measure < 40
    whole = _laid_out(view, measure, room, broad=broad, small=small)
    if len(whole) > room and not small:
        return _laid_out(view, measure, room, broad=broad, small=True)
    return whole


def _laid_out(view: EarView, measure: int, room: int, *, broad: bool, small: bool) -> Block:
    scale = 2 if broad else 1
    turn = line(TURNS[view.turn], Tone.OURS_QUIET if view.turn is Turn.OURS else Tone.PLAIN)
    block: list[Line] = [] if small else [EMPTY]
    block += (line(view.big.upper(), TONES[view.turn]),) if small else large(view, measure, scale)
    block += [EMPTY, spread(turn, _bar(view, measure // 2), measure), EMPTY]
    below = [*_choices(view, measure, broad)]
    if view.beside:
        below += [EMPTY, *_beside(view.beside, measure, broad)]
    for name, text in view.rows:
        label = Run(f"{clean(name)}  ", Tone.QUIET)
        below.append(crop((label, Run(clean(text))), measure))
    if view.typed:
        typed = f"{clean(view.typed)}_"
        below += [EMPTY, *(numerals(view.typed, Tone.STRONG) if broad else (line(typed),))]
    large_room = room - len(block) - len(below) if broad else 0
    return (*block, *_said(view, measure, large_room), *below)


def large(view: EarView, measure: int, scale: int) -> Block:
    """Return the word of the moment as large as it fits; several words one below the other."""
    tone = TONES[view.turn]
    text = view.big
    if text and all(sign in NUMERALS for sign in text):
        for size in range(scale + 1, 0, -1):
            block = numerals(text, tone, size)
            if max(map(width_of, block)) <= measure:
                return block
    if all(sign in CAPITALS or sign == " " for sign in text.upper()):
        for size in range(scale, 0, -1):
            if capitals_width(text, size) <= measure:
                return capitals(text, tone, size)
    return sentence(text, tone, measure) or (line(text.upper(), tone),)


def _said(view: EarView, measure: int, room: int) -> Block:
    """Return what is said: in large letters as long as there is room for them."""
    block: list[Line] = []
    for number, sentence_ in enumerate(view.said):
        text = clean(sentence_)
        tone = Tone.STRONG if number == 0 else Tone.PLAIN
        big = sentence(text, tone, measure)
        if big and len(block) + len(big) + 1 <= room:
            block += [*big, EMPTY]
        else:
            block += fill(text.split(), measure, tone)
    return tuple(block)


def _bar(view: EarView, cells: int) -> Line:
    if view.bar is None:
        return EMPTY
    done = round(min(1.0, max(0.0, view.bar)) * cells)
    return (Run("█" * done, Tone.OURS), Run("░" * (cells - done), Tone.QUIET))


def _beside(chords: tuple[Beside, ...], measure: int, broad: bool) -> Block:
    """Return the due link over what was played, chord under chord; faults in brackets."""
    label = 8
    gap = 3 if broad else 2
    rows: list[tuple[list[Run], list[Run]]] = [([], [])]
    used = label
    for chord in chords:
        played = f"[{chord.played}]" if chord.fault else chord.played
        cells = max(len(chord.due), len(played))
        if used + cells + gap > measure and rows[-1][0]:
            rows.append(([], []))
            used = label
        rows[-1][0].append(Run(chord.due.ljust(cells + gap)))
        tone = Tone.STRONG if chord.fault else Tone.PLAIN
        rows[-1][1].append(Run(played.ljust(cells + gap), tone))
        used += cells + gap
    block: list[Line] = []
    for above, below in rows:
        block.append((Run("due".ljust(label), Tone.QUIET), *above))
        block.append((Run("played".ljust(label), Tone.QUIET), *below))
        block.append(EMPTY)
    return tuple(crop(runs, measure) for runs in block[:-1])


def _choices(view: EarView, measure: int, broad: bool) -> Block:
    """Return what there is to choose from; on a broad page its short name in large letters."""
    block: list[Line] = []
    for sign, text in view.choices:
        short, _, rest = clean(text).partition(": ")
        big = sentence(f"{clean(sign)} {short}", Tone.STRONG, measure) if broad else ()
        if big:
            beside_it = line(rest, Tone.PLAIN)
            last = big[-1]
            gap = Run(" " * max(2, measure // 2 - width_of(last)))
            block += [*big[:-1], (*last, gap, *beside_it), EMPTY]
            continue
        runs = (Run(f"{clean(sign)}  ", Tone.STRONG), Run(clean(text)))
        block.append(crop(runs, measure))
    return (EMPTY, *block) if block and not broad else tuple(block)


def _foot(view: EarView, measure: int) -> Block:
    """Return the message and what can be pressed, as much of it as fits."""
    message = line(clean(view.message), Tone.STRONG) if view.message else EMPTY
    hints: Line = EMPTY
    for control, does in view.hints:
        gap = (Run("  "),) if hints else ()
        more = (*hints, *gap, Run(clean(control), Tone.STRONG), Run(f" {clean(does)}", Tone.QUIET))
        if width_of(more) > measure:
            break
        hints = more
    return (crop(message, measure), hints)
