"""The whole page: which parts stand where, for every size of terminal.

Conventions: sizes in cells and lines. Four settings, from the size alone: a slip (very small), a
narrow page, a page with a column for the large figure at its left, and a broad one with large
words, for a room. All say the same things in the same order: key and player, links left, the
pattern, the links, the compass, the foot. Nothing here looks at a clock or a port.
"""

from __future__ import annotations

from livecont.screen.chart import chart
from livecont.screen.glyphs import FIGURE_HEIGHT, capitals, capitals_width
from livecont.screen.links import large_link, links_block
from livecont.screen.notes import ScreenNotes
from livecont.screen.panels import (
    figure,
    figure_block,
    headline,
    hints_line,
    invitation,
    large_invitation,
    lately,
    message_line,
    ports_line,
    rule,
    state_tone,
    trouble_line,
)
from livecont.screen.ruler import ruler_block
from livecont.screen.statement import label_line, large_statement, statement
from livecont.screen.typeset import (
    EMPTY,
    Block,
    Line,
    Sheet,
    Tone,
    beside,
    clean,
    crop,
    indent,
    line,
    spread,
    to_height,
    width_of,
)
from livecont.screen.wording import (
    key_origin,
    key_words,
    links_words,
    state_words,
    step_words,
    who_name,
    who_words,
)
from livecont.screen.wording_chain import both_counts
from livecont.sitting.snapshot import Phase, Snapshot

_COLUMN = 21  # the figure's column: two figures and white
_BROAD_COLUMN = 42
_LINK_HEIGHT = 3  # two voices and the thread


def render(snapshot: Snapshot, *, width: int, height: int, notes: ScreenNotes) -> Sheet:
    """Return a page of exactly `height` lines, none wider than `width`."""
    width, height = max(1, width), max(1, height)
    if width < 44 or height < 16:
        block = _slip(snapshot, notes, width, height)
    elif width < 76 or height < 20:
        block = _narrow(snapshot, notes, width, height)
    elif width < 150 or height < 40:
        block = _page(snapshot, notes, width, height)
    else:
        block = _broad(snapshot, notes, width, height)
    return Sheet(tuple(crop(runs, width) for runs in to_height(block, height)), width)


def _body(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> Block:
    """Return the pattern and its links, or what to do while none is known."""
    if snapshot.pattern is None or snapshot.phase is Phase.ENDED:
        return invitation(snapshot, notes, width)
    said = statement(snapshot, width, max(1, height - _LINK_HEIGHT))
    return _with_links(snapshot, said, width, height)


def _with_links(snapshot: Snapshot, said: Block, width: int, height: int) -> Block:
    """Return what was said, then links note by note, then the chart, with white where it has room.

    The link of the moment comes first, then the chart, then further links.
    """
    room = height - len(said)
    whole = chart(snapshot, width, room - _LINK_HEIGHT)
    white = room - len(whole) > _LINK_HEIGHT
    roomy = bool(whole) and room - len(whole) - white > 2 * _LINK_HEIGHT
    links = links_block(snapshot, width, room - len(whole) - white - roomy, 1 if whole else 2)
    spare = room - white - len(links) - len(whole)
    gap = (EMPTY,) if whole and spare > 0 else ()
    return (*said, *((EMPTY,) if white else ()), *links, *gap, *whole)


def _broad_body(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> Block:
    """Return the same with the step, and where there is room the link of the moment, in capitals.

    A small list of links always stays.
    """
    if snapshot.pattern is None:
        return large_invitation(snapshot, notes, width)
    said = large_statement(snapshot, width)
    if snapshot.phase is Phase.ENDED or not said:
        return _body(snapshot, notes, width, height)
    large = large_link(snapshot, width)
    if len(said) + len(large) + 11 <= height:
        said = (*said, EMPTY, EMPTY, *large)
    return _with_links(snapshot, said, width, height)


def _foot(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> Block:
    """Return the last lines: a message or what was heard, controls and ports, the take."""
    trouble = trouble_line(notes)
    first = message_line(notes, width)
    if not first and snapshot.pattern is not None:
        first = lately(snapshot, width - (width_of(trouble) + 2 if trouble else 0))
    rows = [spread(first, trouble, width) if trouble else first]
    ports = ports_line(notes)
    hints = hints_line(notes, width)
    if height > 2 and notes.take_path is not None:
        rows += [hints, spread(ports, line(f"take {clean(notes.take_path)}", Tone.QUIET), width)]
    elif width_of(hints) + width_of(ports) + 3 <= width:
        rows.append(spread(hints, ports, width))
    else:
        rows.append(hints or ports)
    return tuple(rows[:height])


def _page(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> Block:
    """Return the usual page: the large figure in a column of its own."""
    margin = 2 if width < 100 else 4
    measure = width - 2 * margin
    roomy = height >= 30
    tight = height < 20
    top: list[Line] = [] if tight else [EMPTY]
    top += [*headline(snapshot, notes, measure), rule(measure), EMPTY]
    foot = _foot(snapshot, notes, measure, 1 if tight else 3 if roomy else 2)
    stairs = (height - 28) // 2 if roomy else 1
    ruler = ruler_block(snapshot, measure, 3 + max(0, stairs) if not tight else 3)
    column = _COLUMN if width < 100 else _COLUMN + 3
    room = height - len(top) - len(ruler) - len(foot) - (1 if tight else 2)
    body = _body(snapshot, notes, measure - column, room)
    main = beside(figure_block(snapshot, 1, column - 2), column, body)
    block = (*top, *to_height(main, room), EMPTY, *ruler, *([] if tight else [EMPTY]), *foot)
    return indent(block, margin)


def _narrow(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> Block:
    """Return a narrow page: the figure beside the step, the links below both."""
    margin = 2 if width >= 56 else 1
    measure = width - 2 * margin
    tight = height < 20
    top: list[Line] = [] if tight else [EMPTY]
    top += [*headline(snapshot, notes, measure), rule(measure), *([] if tight else [EMPTY])]
    foot = _foot(snapshot, notes, measure, 1 if tight else 2)
    ruler = ruler_block(snapshot, measure, 3 if tight else 4 + max(0, (height - 30) // 2))
    big, words = figure(snapshot, 1)
    if snapshot.pattern is None or snapshot.phase is Phase.ENDED:
        main = _narrow_invitation(snapshot, notes, measure)
    else:
        column = max(map(width_of, big)) + 3 if big else 0
        said = to_height(statement(snapshot, measure - column), FIGURE_HEIGHT - 1)
        counts = ", ".join(reversed(both_counts(snapshot)))
        said = (*said, line(" ".join(words) + (f": {counts}" if words and counts else counts)))
        main = beside(big, column, said)
        room = height - len(top) - len(main) - len(ruler) - len(foot) - 1
        main = _with_links(snapshot, main, measure, room + len(main))
    room = height - len(top) - len(ruler) - len(foot) - 1
    return indent((*top, *to_height(main, room), EMPTY, *ruler, *foot), margin)


def _narrow_invitation(snapshot: Snapshot, notes: ScreenNotes, measure: int) -> Block:
    big, _ = figure(snapshot, 1)
    column = max(map(width_of, big)) + 3 if big and snapshot.pattern is None else 0
    said = invitation(snapshot, notes, measure - column)
    return beside(big, column, said) if column else said


def _broad(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> Block:
    """Return the page for a room: key, player and step in large letters, figures doubled."""
    margin = 6
    measure = width - 2 * margin
    head = _broad_headline(snapshot, notes, measure)
    top = [EMPTY, EMPTY, *head, EMPTY, rule(measure), EMPTY, EMPTY]
    foot = _foot(snapshot, notes, measure, 3)
    ruler = ruler_block(snapshot, measure, 3 + (height - 40) // 2)
    room = height - len(top) - len(ruler) - len(foot) - 3
    inner = measure - _BROAD_COLUMN
    body = _broad_body(snapshot, notes, inner, room)
    # the key stands in the headline already, as large
    big = () if snapshot.pattern is None else figure_block(snapshot, 2, _BROAD_COLUMN - 4)
    main = beside(big, _BROAD_COLUMN, body)
    block = (*top, *to_height(main, room), EMPTY, *ruler, EMPTY, *foot)
    return indent(block, margin)


def _broad_headline(snapshot: Snapshot, notes: ScreenNotes, measure: int) -> Block:
    """Return the headline with key and player in capitals, where both fit side by side."""
    who = who_name(snapshot.phase)
    key = key_words(snapshot.key)
    # the wider name decides, so that the headline does not change when the player does
    if capitals_width(who_name(Phase.SOUNDING)) + capitals_width(key) + 4 > measure:
        return headline(snapshot, notes, measure)
    tone = Tone.OURS if snapshot.phase is Phase.SOUNDING else Tone.STRONG
    left = capitals(key, Tone.STRONG) if snapshot.key is not None else (line(key, Tone.STRONG),)
    state = line(state_words(snapshot, notes.start), state_tone(snapshot.phase))
    return (
        *beside(left, measure - capitals_width(who) + 1, capitals(who, tone)),
        EMPTY,
        spread(line(key_origin(snapshot), Tone.QUIET), state, measure),
    )


def _slip(snapshot: Snapshot, notes: ScreenNotes, width: int, height: int) -> Block:
    """Return a very small page: the most needful first, one thing a line."""
    block: list[Line] = [
        line(who_words(snapshot.phase), Tone.STRONG),
        line(state_words(snapshot, notes.start), state_tone(snapshot.phase)),
    ]
    pattern = snapshot.pattern
    if pattern is not None:
        left = snapshot.links_left
        if left is not None or snapshot.endless:
            block.append(line("no end in sight" if left is None else f"{links_words(left)} left"))
        words = step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)
        block.append(line(words, Tone.STRONG))
        block += label_line(snapshot, width)
    block.append(line(key_words(snapshot.key)))
    message = message_line(notes, width)
    if message:
        block.append(message)
    room = height - len(block) - 1
    if pattern is None:
        return (*block, EMPTY, lately(snapshot, width)) if room > 0 else tuple(block)
    ruler = ruler_block(snapshot, width, 3) if room >= 8 else ()
    links = links_block(snapshot, width, room - len(ruler))
    return (*block, EMPTY, *to_height(links, max(0, room - len(ruler))), *ruler)
