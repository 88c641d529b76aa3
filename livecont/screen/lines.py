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
from livecont.sequence.pattern import Pattern
from livecont.sitting.snapshot import Phase, Snapshot

# a unit that bends by less is the same tempo, played by a person
_UNIT_BEND = 0.1


def plain_lines(previous: Snapshot | None, snapshot: Snapshot) -> tuple[str, ...]:
    """Return what has changed since the previous snapshot, in lines; often nothing.

    Without a previous snapshot everything is new.
    """
    lines = [
        *_key_lines(previous, snapshot),
        *_end_lines(previous, snapshot),
        *_pattern_lines(previous, snapshot),
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


def _pattern_lines(previous: Snapshot | None, snapshot: Snapshot) -> list[str]:
    pattern = snapshot.pattern
    if pattern is None:
        return []
    if previous is not None and _same(previous.pattern, pattern):
        return []
    pulse = pulse_bpm(pattern)
    facts = [
        f"understood: {step_words(pattern.step_degrees, pattern.shift_semitones, pattern.kind)}",
        step_figures(pattern),
        str(pattern.kind),
        f"{pattern.unit_s:.2f} s a link",
        *([f"pulse {pulse}"] if pulse is not None else []),
        f"{100 * pattern.confidence:.0f} % sure",
    ]
    if snapshot.links_left is not None:
        facts.append(f"{links_words(snapshot.links_left)} left")
    return [", ".join(facts)]


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
