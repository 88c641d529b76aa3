"""The parts of the page: who plays, the large figure, the step, what was heard, the foot.

Conventions: each returns lines for a width and, where it can grow, a height; the page decides where
they go. A part that has nothing to say returns nothing.
"""

from __future__ import annotations

from livecont.music.key import Key
from livecont.music.pitch import accidental
from livecont.screen.glyphs import capitals, capitals_width, numerals
from livecont.screen.notes import ScreenNotes
from livecont.screen.typeset import (
    EMPTY,
    Block,
    Line,
    Run,
    Tone,
    clean,
    crop,
    fill,
    line,
    spread,
    width_of,
)
from livecont.screen.wording import (
    end_words,
    key_origin,
    key_words,
    letter_name,
    octave_sign,
    state_words,
)
from livecont.screen.wording_chain import both_counts, changed_words
from livecont.sitting.events import Fullness
from livecont.sitting.snapshot import Phase, Snapshot

_INSIDE_NUMERALS = str.maketrans("#b", "♯♭")


def headline(snapshot: Snapshot, notes: ScreenNotes, width: int) -> Block:
    """Return the key and who plays, each with a line that explains it."""
    return (
        spread(line(key_words(snapshot.key), Tone.STRONG), who_line(snapshot.phase), width),
        spread(
            line(key_origin(snapshot), Tone.QUIET),
            line(state_words(snapshot, notes.start), state_tone(snapshot.phase)),
            width,
        ),
    )


def state_tone(phase: Phase) -> Tone:
    """Return red while livecont has the music or is about to."""
    return Tone.OURS_QUIET if phase in (Phase.SOUNDING, Phase.READY) else Tone.PLAIN


def who_line(phase: Phase) -> Line:
    """Return both players, each in its place: a full disc plays, half a disc enters next."""
    if phase is Phase.ENDED:
        return (Run("○ you", Tone.QUIET), Run("   "), Run("○ livecont", Tone.QUIET))
    if phase is Phase.SOUNDING:
        return (Run("○ you", Tone.QUIET), Run("   "), Run("● livecont", Tone.OURS))
    ours = Run("◐ livecont", Tone.OURS_QUIET) if phase is Phase.READY else None
    return (
        Run("● you", Tone.STRONG),
        Run("   "),
        ours or Run("○ livecont", Tone.QUIET),
    )


def figure(snapshot: Snapshot, scale: int) -> tuple[Block, tuple[str, ...]]:
    """Return the large figure of the moment and the words under it.

    Links left once a pattern is known; before that the key, which is what a class needs to see.
    """
    if snapshot.pattern is None and snapshot.sounding is None:
        if snapshot.key is None:
            return (), ()
        return numerals(_tonic(snapshot.key), Tone.STRONG, scale), (snapshot.key.mode,)
    tone = Tone.OURS if snapshot.phase is Phase.SOUNDING else Tone.STRONG
    left = snapshot.links_left
    if left is None and not snapshot.endless:
        return (), ()  # still being counted
    if left is None:
        return numerals("∞", tone, scale), ("no end", "in sight")
    words = {0: ("the last link",), 1: ("link left",)}.get(left, ("links left",))
    if snapshot.phase is not Phase.SOUNDING and left == 0:
        words = ("no link left",)
    return numerals(str(max(0, left)), tone, scale), words


def _tonic(key: Key) -> str:
    return key.tonic[0] + accidental(key.alter).translate(_INSIDE_NUMERALS)


def large_invitation(snapshot: Snapshot, notes: ScreenNotes, width: int) -> Block:
    """Return what to do, in capitals where they fit, and the rest of the invitation."""
    rest = invitation(snapshot, notes, width)
    words = "play two links"
    if snapshot.phase is Phase.ENDED or capitals_width(words) > width:
        return rest
    return (*capitals(words, Tone.STRONG), EMPTY, *rest)


def invitation(snapshot: Snapshot, notes: ScreenNotes, width: int) -> Block:
    """Return what to do while no sequence is known, and what has been heard lately."""
    block: list[Line] = []
    if snapshot.phase is Phase.ENDED:
        block.append(line("the sitting is over", Tone.STRONG))
        if snapshot.last_end is not None:
            block.append(line(f"the chain ended: {clean(end_words(snapshot.last_end))}"))
        if snapshot.changed is not None:
            block += fill(changed_words(snapshot.changed).split(), width, Tone.OURS_QUIET)
        if notes.take_path is not None:
            block += [EMPTY, line("the take is in", Tone.QUIET)]
            block.append(line(clean(notes.take_path)))
        return tuple(crop(runs, width) for runs in block)
    block.append(line("play two links of a sequence", Tone.STRONG))
    main = ", main notes only" if snapshot.fullness is Fullness.REDUCTION else ""
    block.append(line(f"livecont sounds the third, and goes on{main}", Tone.QUIET))
    if snapshot.last_end is not None:
        block += [EMPTY, line(f"the chain ended: {clean(end_words(snapshot.last_end))}")]
    if snapshot.changed is not None:
        block += fill(changed_words(snapshot.changed).split(), width, Tone.OURS_QUIET)
    if snapshot.heard:
        block += [EMPTY, line("heard lately", Tone.QUIET)]
        names = [letter_name(note) + octave_sign(note) for note in snapshot.heard]
        block += fill(names, width, Tone.PLAIN, gap="  ")[-3:]
    return tuple(crop(runs, width) for runs in block)


def lately(snapshot: Snapshot, width: int) -> Line:
    """Return the latest notes in one line, the newest last."""
    label = "heard  "
    names: list[str] = []
    room = width - len(label)
    for note in reversed(snapshot.heard):
        name = letter_name(note) + octave_sign(note)
        room -= len(name) + 1
        if room < 0:
            break
        names.append(name)
    return (Run(label, Tone.QUIET), Run(" ".join(reversed(names)))) if names else EMPTY


def hints_line(notes: ScreenNotes, width: int) -> Line:
    """Return the controls: what to press, and what it does; whole pairs only.

    Where they do not all fit, one way to work each is enough.
    """
    runs: list[Run] = []
    used = 0
    hints = notes.hints
    if sum(len(control) + len(effect) + 4 for control, effect in hints) - 3 > width:
        hints = tuple((control.split(" or ")[0], effect) for control, effect in hints)
    for control, effect in hints:
        pair = (Run(clean(control), Tone.STRONG), Run(f" {clean(effect)}", Tone.QUIET))
        gap = 3 if runs else 0
        used += gap + width_of(pair)
        if used > width:
            break
        runs += [Run(" " * gap), *pair] if gap else pair
    return tuple(runs)


def ports_line(notes: ScreenNotes) -> Line:
    """Return where notes come from and go to."""
    parts = []
    if notes.input_name is not None:
        parts.append(f"in {clean(notes.input_name)}")
    if notes.output_name is not None:
        parts.append(f"out {clean(notes.output_name)}")
    return line("   ".join(parts), Tone.QUIET)


def trouble_line(notes: ScreenNotes) -> Line:
    """Return what went wrong, if anything did."""
    parts = []
    if notes.late_count:
        parts.append(f"{notes.late_count} late")
    if notes.dropped_count:
        parts.append(f"{notes.dropped_count} lost on the way in")
    return line("  ·  ".join(parts), Tone.STRONG)


def message_line(notes: ScreenNotes, width: int) -> Line:
    """Return the message to the player."""
    return crop(line(clean(notes.message), Tone.STRONG), width) if notes.message else EMPTY


def figure_block(snapshot: Snapshot, scale: int, width: int) -> Block:
    """Return the large figure with its words under it, cut to a column."""
    big, words = figure(snapshot, scale)
    if big and max(map(width_of, big)) > width:
        big, words = figure(snapshot, 1)
    block = [*big, *([EMPTY] if big else [])]
    block += [line(text, Tone.PLAIN) for text in words]
    block += [line(text, Tone.QUIET) for text in both_counts(snapshot)]
    return tuple(crop(runs, width) for runs in block)


def rule(width: int) -> Line:
    """Return a quiet rule across the page."""
    return line("─" * width, Tone.QUIET)
