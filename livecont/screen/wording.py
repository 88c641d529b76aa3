"""What is said on the screen, in words.

Conventions: sentences without capitals or full stops, so that they can stand in any place; words
as in the design's list (link, step, unit, compass, taking over, giving way). With `printed` set,
names use the signs of printed music (F♯, B♭); without, ASCII. Numbers carry their unit.
"""

from __future__ import annotations

import math

from livecont.music.key import Key
from livecont.music.pitch import Spelling
from livecont.screen.moment import due_in_s, link_now
from livecont.screen.once import once_each
from livecont.sequence.pattern import Kind, Pattern
from livecont.sitting.events import Start
from livecont.sitting.snapshot import Phase, Snapshot

_INTERVALS = ("unison", "second", "third", "fourth", "fifth", "sixth", "seventh")
# semitones of the major or perfect interval on each number of degrees (common practice)
_MAJOR_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_PERFECT = (0, 3, 4)
_ENDS = {
    "limit": "at its limit",
    "compass": "at the end of the compass",
    "clear": "where the ear would lose it",
    "home": "back where it began",
    "cadence": "with a cadence",
    "stopped": "stopped at your wish",
    "lost": "a port was lost",
    "quit": "you left",
}
_PRINTED = str.maketrans("#b", "♯♭")
OCTAVE_SIGNS = "₀₁₂₃₄₅₆₇₈₉₋"
_SUBSCRIPT = str.maketrans("0123456789-", OCTAVE_SIGNS)
# beats a minute in which a pulse is felt best, from common practice (andante)
_EASY_BPM = 84.0
_PULSES = (1, 2, 3, 4, 5, 6, 8, 9, 12, 16, 24, 32)


def letter_name(spelling: Spelling) -> str:
    """Return a pitch's name without its octave, in printed signs."""
    name = spelling.letter_name
    return name[0] + name[1:].translate(_PRINTED)


def octave_sign(spelling: Spelling) -> str:
    """Return the octave as a low figure: ₄."""
    return str(spelling.octave).translate(_SUBSCRIPT)


def key_words(key: Key | None) -> str:
    """Return a key's name in printed signs: 'e minor', 'B♭ major'."""
    if key is None:
        return "key not yet known"
    tonic, mode = key.name.split(" ", 1)
    return f"{tonic[0]}{tonic[1:].translate(_PRINTED)} {mode}"


def key_origin(snapshot: Snapshot) -> str:
    """Return whether the key was chosen, estimated, or still has to be."""
    if snapshot.key is None:
        return "estimated from what you play"
    return "the key you chose" if snapshot.key_chosen else "the key as it sounds so far"


def step_words(step_degrees: int, shift_semitones: int | None, kind: Kind) -> str:
    """Return a step as a musician says it.

    >>> step_words(-1, None, Kind.TONAL), step_words(2, 3, Kind.REAL)
    ('a second down', 'a minor third up')
    """
    octaves, simple = divmod(abs(step_degrees), 7)
    direction = "down" if (step_degrees or shift_semitones or 0) < 0 else "up"
    quality = ""
    if kind is not Kind.TONAL and shift_semitones is not None:
        quality = _quality(step_degrees, shift_semitones)
    if step_degrees == 0:
        name = "on the same degree" if not shift_semitones else "chromatic semitone"
        return name if not shift_semitones else f"a {name} {direction}"
    plural = "s" if octaves > 1 else ""
    if octaves and simple:
        over = "an octave" if octaves == 1 else f"{octaves} octaves"
        name = f"{over} and {_article(quality + _INTERVALS[simple])} {quality}{_INTERVALS[simple]}"
    elif octaves:
        name = ("an octave" if octaves == 1 else f"{octaves} octave") + plural
    else:
        name = f"{_article(quality + _INTERVALS[simple])} {quality}{_INTERVALS[simple]}"
    return f"{name} {direction}"


def _article(word: str) -> str:
    return "an" if word[0] in "ao" else "a"


def _quality(step_degrees: int, shift_semitones: int) -> str:
    """Return 'minor ', 'perfect ' or such; nothing where it is stranger than that."""
    octaves, simple = divmod(abs(step_degrees), 7)
    up = shift_semitones if step_degrees >= 0 else -shift_semitones
    off = up - 12 * octaves - _MAJOR_SEMITONES[simple]
    if simple in _PERFECT:
        return {0: "perfect " if simple else "", 1: "augmented ", -1: "diminished "}.get(off, "")
    return {0: "major ", -1: "minor ", 1: "augmented ", -2: "diminished "}.get(off, "")


def step_figures(pattern: Pattern) -> str:
    """Return the step in numbers: '-1 degree', '-1 degree, -2 semitones'."""
    parts = [_counted(pattern.step_degrees, "degree")]
    if pattern.shift_semitones is not None:
        parts.append(_counted(pattern.shift_semitones, "semitone"))
    return ", ".join(parts)


def _counted(number: int, what: str) -> str:
    sign = "\N{MINUS SIGN}" if number < 0 else "+"
    return f"{sign}{abs(number)} {what}{'' if abs(number) == 1 else 's'}"


def links_words(count: int) -> str:
    """Return '1 link', '7 links'."""
    return f"{count} link{'' if count == 1 else 's'}"


@once_each
def pulse_bpm(pattern: Pattern) -> int | None:
    """Return the tempo at which one would most easily beat time, in beats a minute, or None.

    The unit is divided so that notes fall on the beats and a beat is near a walking pace; where
    several divisions do, the one nearest to it on a logarithmic scale.
    """
    if not (pattern.positions and math.isfinite(pattern.unit_s) and pattern.unit_s > 0):
        return None
    offsets = [position.offset_units for position in pattern.positions]

    def cost(pulses: int) -> float:
        on_beat = sum(
            any(abs(offset - beat / pulses) < 0.04 for offset in offsets) for beat in range(pulses)
        )
        distance = abs(math.log2(60.0 * pulses / pattern.unit_s / _EASY_BPM))
        return distance + 2.0 * (1.0 - on_beat / pulses)

    return round(60.0 * min(_PULSES, key=cost) / pattern.unit_s)


def end_words(reason: str) -> str:
    """Return why a chain ended."""
    return _ENDS.get(reason, reason)


def state_words(snapshot: Snapshot, start: Start | None) -> str:
    """Return in one short sentence what is going on."""
    now = link_now(snapshot)
    match snapshot.phase:
        case Phase.LISTENING:
            return "you play, livecont listens"
        case Phase.UNDERSTOOD:
            return "a sequence is understood"
        case Phase.READY:
            which = f"link {now.number}" if now is not None else "the next link"
            return f"{which} {_wait_words(snapshot, start)}"
        case Phase.SOUNDING:
            return f"livecont plays link {now.number}" if now is not None else "livecont plays"
        case Phase.ENDED:
            return "nobody plays"


def _wait_words(snapshot: Snapshot, start: Start | None) -> str:
    if start is Start.ON_CUE:
        return "waits for your cue"
    if start is Start.ON_PAUSE:
        return "waits until you pause"
    wait_s = due_in_s(snapshot)
    if wait_s is not None and wait_s > 0:
        return f"enters in {wait_s:.1f} s"
    return "is ready"


def who_words(phase: Phase) -> str:
    """Return who has the music now."""
    if phase is Phase.ENDED:
        return "the end"
    return "livecont plays" if phase is Phase.SOUNDING else "you play"


def who_name(phase: Phase) -> str:
    """Return the name of who has the music now, for large letters."""
    if phase is Phase.ENDED:
        return "the end"
    return "livecont" if phase is Phase.SOUNDING else "you"
