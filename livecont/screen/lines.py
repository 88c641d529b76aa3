"""A sitting as plain lines, for output that is no terminal: one line for each change worth telling.

Conventions: ASCII only, no colour, no trailing full stops; the words are those of the screen.
"""

from __future__ import annotations

from livecont.screen.typeset import clean, to_ascii
from livecont.screen.wording import (
    end_words,
    key_words,
    links_words,
    pulse_bpm,
    step_figures,
    step_words,
)
from livecont.screen.wording_chain import (
    arrival_words,
    both_counts,
    changed_words,
    circle_words,
    clear_words,
    doubt_words,
    harmony_words,
    label_words,
    main_words,
)
from livecont.sequence.pattern import Pattern
from livecont.sitting.events import Fullness
from livecont.sitting.snapshot import Phase, Snapshot

# a unit that bends by less is the same tempo, played by a person
_UNIT_BEND = 0.1


def plain_lines(previous: Snapshot | None, snapshot: Snapshot) -> tuple[str, ...]:
    """Return what has changed since the previous snapshot, in lines; often nothing.

    Without a previous snapshot everything is new.
    """
    lines = [
        *_key_lines(previous, snapshot),
        *_wish_lines(previous, snapshot),
        *_changed_lines(previous, snapshot),
        *_end_lines(previous, snapshot),
        *_pattern_lines(previous, snapshot),
        *_label_lines(previous, snapshot),
        *_link_lines(previous, snapshot),
    ]
    if snapshot.phase is Phase.ENDED and (previous is None or previous.phase is not Phase.ENDED):
        lines.append("the sitting is over")
    return tuple(to_ascii(clean(text)) for text in lines)


def _key_lines(previous: Snapshot | None, snapshot: Snapshot) -> list[str]:
    lines = []
    if previous is None and snapshot.phase is Phase.LISTENING:
        lines.append("listening: play two links of a sequence")
    known = None if previous is None else (previous.key, previous.key_chosen)
    if snapshot.key is not None and known != (snapshot.key, snapshot.key_chosen):
        estimated = "" if snapshot.key_chosen else " (estimated)"
        lines.append(f"key: {key_words(snapshot.key)}{estimated}")
    return lines


def _wish_lines(previous: Snapshot | None, snapshot: Snapshot) -> list[str]:
    """What the player wants otherwise, which he hears from the next link on."""
    before = Fullness.FULL if previous is None else previous.fullness
    if snapshot.fullness is before:
        return []
    reduced = snapshot.fullness is Fullness.REDUCTION
    return ["only main notes sound" if reduced else "all notes sound"]


def _changed_lines(previous: Snapshot | None, snapshot: Snapshot) -> list[str]:
    changed = snapshot.changed
    if changed is None or (previous is not None and previous.changed == changed):
        return []
    return [changed_words(changed)]


def _pattern_lines(previous: Snapshot | None, snapshot: Snapshot) -> list[str]:
    pattern = snapshot.pattern
    if pattern is None:
        return []
    if previous is not None and _same(previous.pattern, pattern):
        return []
    pulse = pulse_bpm(pattern)
    wished = snapshot.kind_changed != (previous is not None and previous.kind_changed)
    first = f"at your wish, from link {snapshot.kind_from} on" if wished else "understood"
    facts = [
        f"{first}: {step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)}",
        step_figures(pattern),
        str(pattern.kind),
        f"{pattern.unit_s:.2f} s a link",
        *([f"pulse {pulse}"] if pulse is not None else []),
        f"{100 * pattern.confidence:.0f} % sure",
    ]
    if snapshot.links_left is not None:
        facts.append(f"{links_words(snapshot.links_left)} left")
    circle = circle_words(snapshot)
    return [", ".join(facts), *([f"it leads through {circle}"] if circle else [])]


def _label_lines(previous: Snapshot | None, snapshot: Snapshot) -> list[str]:
    """What the sequence is, as far as that is news."""
    known = () if previous is None else _explained(previous)
    return [text for text in _explained(snapshot) if text not in known]


def _explained(snapshot: Snapshot) -> tuple[str, ...]:
    """The label, why it is not sure, main notes and chords of the first link that is known."""
    explanation = snapshot.explanation
    if explanation is None:
        return ()
    analysis, lines = explanation.analysis, []
    label, _ = label_words(analysis)
    if analysis.label is not None and label is not None:
        lines.append(f"it is {label}; it {analysis.label.spoken}")
    if analysis.doubt is not None:
        lines.append(doubt_words(analysis, others=True))
    first = max(explanation.first, snapshot.kind_from - 1)
    told = (main_words(explanation, first), harmony_words(explanation, first))
    return (*lines, *(words for words in told if words is not None))


def _same(before: Pattern | None, now: Pattern) -> bool:
    """Whether a listener would call both the same sequence."""
    return (
        before is not None
        and before.step_degrees == now.step_degrees
        and before.shift_semitones == now.shift_semitones
        and before.kind is now.kind
        and abs(before.unit_s - now.unit_s) <= _UNIT_BEND * now.unit_s
    )


def _link_lines(previous: Snapshot | None, snapshot: Snapshot) -> list[str]:
    link = snapshot.sounding
    if snapshot.phase is not Phase.SOUNDING or link is None:
        return []
    left = snapshot.links_left
    rest = ""
    if left is not None:
        rest = f", {links_words(left)} left"
    elif snapshot.endless:
        rest = ", no end in sight"
    arrived = arrival_words(snapshot)
    rest += f", {arrived}" if arrived else ""
    if link.clarity is not None:
        rest += f", {clear_words(link.clarity)} clear"
    counts = ", ".join(reversed(both_counts(snapshot)))
    rest += f" ({counts})" if counts else ""
    if previous is None or previous.phase is not Phase.SOUNDING or previous.sounding is None:
        return [f"livecont takes over: link {link.number} sounds{rest}"]
    if previous.sounding.number == link.number:
        return []
    return [f"link {link.number} sounds{rest}"]


def _end_lines(previous: Snapshot | None, snapshot: Snapshot) -> list[str]:
    """Return how the music went back to the player; without a reason, livecont gave way."""
    if previous is None or previous.phase is not Phase.SOUNDING:
        return []
    if snapshot.phase is Phase.SOUNDING:
        return []
    if snapshot.last_end is None:
        return ["livecont gave way: you play on"]
    return [f"the chain ended: {end_words(snapshot.last_end)}"]
