"""What is said of an answer, in words: what was right, what was off.

Conventions: sentences without capitals or full stops, as on the screen, the most important first;
names of notes in printed signs with their octave.
"""

from __future__ import annotations

from collections.abc import Iterator

from livecont.ear.altering import OddNote
from livecont.ear.judging import Added, Judged, Judgement, Verdict
from livecont.music.label import Label
from livecont.music.pitch import Spelling
from livecont.screen.wording import letter_name, links_words, step_words
from livecont.sequence.pattern import Pattern

MOST_FAULTS = 4
# a start that is off by less is not worth a word: order of two sounds is told surely from 60 ms on
START_S = 0.1
TEMPO = 0.06

_SEMITONES = (
    "the same note", "a semitone", "a tone", "a minor third", "a major third", "a fourth",
    "a tritone", "a fifth", "a minor sixth", "a major sixth", "a minor seventh", "a major seventh",
    "an octave",
)  # fmt: skip


def note_name(pitch: Spelling) -> str:
    """Return a note's name as printed, with its octave: F♯4."""
    return f"{letter_name(pitch)}{pitch.octave}"


def told(judgement: Judgement) -> tuple[str, ...]:
    """Say what was right and what was off in a link that was played."""
    known = _is_known(judgement)
    faults = [*_wrong(judgement, known=known), *_rhythm(judgement)]
    said = []
    if judgement.right:
        said.append("every note right, and in rhythm")
    elif judgement.right_notes:
        said.append("the notes are right, the rhythm is another one")
    else:
        right = sum(one.verdict is Verdict.RIGHT for one in judgement.notes)
        said.append(f"{right} of {len(judgement.notes)} notes right")
    said += faults[:MOST_FAULTS]
    if len(faults) > MOST_FAULTS:
        said.append(f"and {len(faults) - MOST_FAULTS} more")
    return (*said, *(_remarks(judgement) if known else ()))


def _is_known(judgement: Judgement) -> bool:
    """Whether half of the link was played, in whatever octave.

    Of less there is no saying when it was begun, how fast, or in which octave it was meant.
    """
    met = [one for one in judgement.notes if one.verdict in (Verdict.RIGHT, Verdict.OCTAVE)]
    return 2 * len(met) >= len(judgement.notes)


def _wrong(judgement: Judgement, *, known: bool) -> Iterator[str]:
    if known and judgement.shift and judgement.octaves_count:
        octaves = abs(judgement.shift) // 12
        what = "an octave" if octaves == 1 else f"{octaves} octaves"
        yield f"all of it {what} too {'high' if judgement.shift > 0 else 'low'}"
    for one in sorted(judgement.notes, key=lambda one: one.due.offset_s):
        due = note_name(one.due.spelling)
        if one.verdict is Verdict.MISSING:
            yield f"{due} was missing"
        elif one.verdict is Verdict.WRONG and one.played is not None:
            yield f"{note_name(one.played)} instead of {due}"
        elif one.verdict is Verdict.OCTAVE and judgement.octaves_count and not judgement.shift:
            yield f"{due} in another octave"
    for more in judgement.surplus:
        if more.added is Added.EXTRA:
            yield f"{note_name(more.spelling)} was not due"


def _rhythm(judgement: Judgement) -> Iterator[str]:
    for index in judgement.uneven:
        yield f"another rhythm at {note_name(judgement.notes[index].due.spelling)}"


def _remarks(judgement: Judgement) -> Iterator[str]:
    """Say what was off and is no fault."""
    off_s, tempo = judgement.start_off_s, judgement.tempo
    if off_s is not None and abs(off_s) >= START_S:
        yield f"begun {abs(off_s):.1f} s {'late' if off_s > 0 else 'early'}"
    if tempo is not None and abs(tempo - 1) >= TEMPO:
        yield f"{'slower' if tempo > 1 else 'faster'}: {100 / tempo:.0f} % of the tempo"
    off = [one for one in judgement.notes if one.told and one.off_s is not None]
    if off:
        worst = max(off, key=_off)
        yield f"{note_name(worst.due.spelling)} {_off(worst) * 1000:.0f} ms {_when(worst)}"
    graced = [more for more in judgement.surplus if more.added is not Added.EXTRA]
    if graced:
        yield f"{len(graced)} note{'s' if len(graced) > 1 else ''} more, as an ornament or a slip"


def _off(one: Judged) -> float:
    return abs(one.off_s or 0.0)


def _when(one: Judged) -> str:
    return "late" if (one.off_s or 0.0) > 0 else "early"


def told_odd(odd: OddNote, *, right: bool, early: bool) -> tuple[str, ...]:
    """Say which note was odd, and what was due."""
    what = f"link {odd.link.number} had {note_name(odd.heard)} where {note_name(odd.due)} was due"
    hard = ("only the accidental: hard to hear",) if odd.hard else ()
    if right:
        return ("heard", what, *hard)
    return ("too soon: nothing was odd yet" if early else "it passed unnoticed", what, *hard)


def told_step(pattern: Pattern, played: int, *, right: bool) -> tuple[str, ...]:
    """Say which step the sequence took, and which was played."""
    step = step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)
    if right:
        return (f"it goes {step}",)
    return (f"it goes {step}", f"you played {interval_words(played)}")


def interval_words(semitones: int) -> str:
    """Say how far two keys are apart.

    >>> interval_words(-2), interval_words(16)
    ('a tone down', 'an octave and a major third up')
    """
    octaves, rest = divmod(abs(semitones), 12)
    way = "" if not semitones else " down" if semitones < 0 else " up"
    if octaves and rest:
        over = "an octave" if octaves == 1 else f"{octaves} octaves"
        return f"{over} and {_SEMITONES[rest]}{way}"
    if octaves > 1:
        return f"{octaves} octaves{way}"
    return f"{_SEMITONES[12 if octaves else rest]}{way}"


def told_named(label: Label, chosen: Label | None, *, right: bool) -> tuple[str, ...]:
    """Say what the sequence is called."""
    true = f"it is {label.said}"
    if right:
        return (true, f"it {label.spoken}")
    given = (f"not {chosen.said}",) if chosen is not None else ()
    return (true, f"it {label.spoken}", *given)


def told_counted(left: int, count: int, *, right: bool) -> tuple[str, ...]:
    """Say how many links were left."""
    words = f"{links_words(left)} {'is' if left == 1 else 'are'} left"
    return (words,) if right else (words, f"you said {count}")
