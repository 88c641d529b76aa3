"""What is said of a chain: what it is called, how clear it is, where it leads, what was changed.

Conventions: as in `screen.wording`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from livecont.music.clarity import CLEAR
from livecont.screen.moment import link_now
from livecont.screen.once import once_each
from livecont.screen.wording import key_words, links_words
from livecont.sequence.analysis import Analysis
from livecont.sequence.endings_circle import Circle, circle_of
from livecont.sequence.endings_clarity import Reach
from livecont.sequence.pattern import Kind, Pattern, Role
from livecont.sitting.events import Fullness
from livecont.sitting.explanation import Explanation, LinkTold, MainTold
from livecont.sitting.snapshot import Changed, Snapshot

AT_WISH = "at your wish"
_NAMED = re.compile(r"\b([A-Ga-g])([#b]+)(?!\w)")
_SIGNS = str.maketrans("#b", "♯♭")


def clear_words(clarity: float) -> str:
    """Return how clear a link is.

    >>> clear_words(0.874), clear_words(0.4999)
    ('87 %', '49 %')
    """
    return f"{math.floor(100 * clarity)} %"  # what is not clear does not round up to clear


def marked_clear(clarity: float) -> str:
    """Return how clear a link is, with a mark where the ear would lose it: '30 %!'."""
    return clear_words(clarity) + ("!" if clarity < CLEAR else "")


def reach_words(reach: Reach, *, counted: bool) -> str:
    """Return both counts of links left by the step: '13 clear, 17 in compass'.

    Where clarity was not `counted` only the latter.
    """
    in_compass = f"{reach.compass} in compass"
    return f"{reach.clear} clear, {in_compass}" if counted else in_compass


def doubt_words(analysis: Analysis, *, others: bool = False) -> str:
    """Return why a label is not sure; with what else it may be, unless that is said already."""
    more = other_words(analysis) if others else None
    said = analysis.alternatives and analysis.alternatives[0].text in (analysis.doubt or "")
    return f"not sure: {analysis.doubt}" + (f"; {more}" if more and not said else "")


def label_words(analysis: Analysis, width: int = 999) -> tuple[str | None, tuple[str, ...]]:
    """Return what a sequence is called, and of that what has no room in a width.

    'D2 (D5/A4): descending fifths', for instance, and ('seventh chords',).
    """
    label = analysis.label
    if label is None:
        return None, ()
    said = label.said.removeprefix(label.text).removeprefix(": ")
    words = said.split(", ") if said else []
    for count in range(len(words), 0, -1):
        said = f"{label.text}: {', '.join(words[:count])}"
        if len(said) <= width:
            return said, tuple(words[count:])
    return label.text, tuple(words)


def other_words(analysis: Analysis) -> str | None:
    """Return what else it may be: 'or D2 (D3/A2), A2 (A4/D3)'."""
    others = ", ".join(label.text for label in analysis.alternatives)
    return f"or {others}" if others else None


def main_names(notes: Sequence[MainTold]) -> str:
    """Return main notes of one voice, a suspension joined to what it resolves to: 'G-F♯ E'."""
    names = (printed(note.name) + ("-" if note.suspended else " ") for note in notes)
    return "".join(names).rstrip(" -")


def main_words(explanation: Explanation, number: int) -> str | None:
    """Return a link's main notes: 'main notes of link 1: F♯ F♯, G G over B, E'."""
    told = explanation.link(number)
    if told is None or not any(one.voices for one in told.harmonies):
        return None
    voices = max(len(one.voices) for one in told.harmonies)
    rows = [
        " ".join(main_names(one.voices[voice]) for one in told.harmonies if voice < len(one.voices))
        for voice in dict.fromkeys((0, voices - 1))
    ]
    return f"main notes of link {number}: {' over '.join(rows)}"


def harmony_words(explanation: Explanation, number: int) -> str | None:
    """Return a link's chords: 'chords of link 1: V6/5 I; the next: IV6/5 vii°'."""
    told = [explanation.link(n) for n in (number, number + 1)]
    rows = [_chords(link) for link in told if link is not None]
    if not rows or not rows[0]:
        return None
    following = f"; of the next: {rows[1]}" if len(rows) > 1 else ""
    return f"chords of link {number}: {rows[0]}{following}"


def _chords(told: LinkTold) -> str:
    """A link's numerals; in a real chain, each link in its own key, which is named."""
    words = [one.numeral for one in told.harmonies]
    return " ".join([*words, *([f"in {printed(told.key)}"] if told.key and words else [])])


def changed_words(changed: Changed) -> str:
    """Return what was done to a link on purpose."""
    return f"link {changed.number} was changed on purpose: {printed(changed.said)}"


def printed(text: str) -> str:
    """Return text with the names of notes in it in printed signs."""
    return _NAMED.sub(lambda name: name[1] + name[2].translate(_SIGNS), text)


def kind_words(snapshot: Snapshot) -> str:
    """Return how the step is counted, and how much of the links sounds where it is not all."""
    kind = "" if snapshot.pattern is None else str(snapshot.pattern.kind)
    wishes = wish_words(snapshot)
    if wishes[:1] == (AT_WISH,):
        kind, wishes = f"{kind} {AT_WISH}", wishes[1:]
    return ", ".join(word for word in (kind, *wishes) if word)


def wish_words(snapshot: Snapshot) -> tuple[str, ...]:
    """Return what is otherwise at the player's wish: the step's kind, how much sounds."""
    kind = (AT_WISH,) if snapshot.kind_changed else ()
    return (*kind, "main notes only") if snapshot.fullness is Fullness.REDUCTION else kind


@once_each
def _circle(pattern: Pattern) -> Circle | None:
    """Return where a real chain leads; None for one that stays in its key."""
    return circle_of(pattern) if pattern.kind is Kind.REAL else None


def _station(snapshot: Snapshot, circle: Circle, number: int) -> int:
    """Return which of a circle's stations a link is at."""
    return (number - snapshot.kind_from + 1) % circle.links


def arrival_words(snapshot: Snapshot) -> str | None:
    """Return where a real chain has arrived: 'in B♭ major'; None for one that stays in its key."""
    now = link_now(snapshot)
    circle = None if snapshot.pattern is None else _circle(snapshot.pattern)
    if circle is None or not circle.keys or now is None or now.role is not Role.CHAIN:
        return None
    return f"in {key_words(circle.keys[_station(snapshot, circle, now.number)])}"


def circle_words(snapshot: Snapshot, *, short: bool = False) -> str | None:
    """Return a real chain's circle: 'D C B♭ A♭ F♯ E, D again after 6 links', or its end alone."""
    circle = None if snapshot.pattern is None else _circle(snapshot.pattern)
    if circle is None or not circle.keys:
        return None
    names = [key_words(key).split(" ")[0] for key in circle.keys]
    closes = f"{names[0]} again after {links_words(circle.links)}"
    return closes if short else f"{' '.join(names)}, {closes}"


def both_counts(snapshot: Snapshot) -> tuple[str, ...]:
    """Return how many links are left by the step, whatever the limit: with keys, and clear."""
    reach, pattern = snapshot.reach, snapshot.pattern
    if reach is None or pattern is None:
        return ()
    rated = any(link.clarity is not None for link in (snapshot.sounding, *snapshot.coming) if link)
    return tuple(reversed(reach_words(reach, counted=rated).split(", ")))
