"""Handbook sequences, given as roman numerals, continued by one more link.

The rows are those of the textbooks' tables of diatonic sequences. Labels from
austinpattytheory.com; numerals of the descending fifths in major and minor from
andrewlewis425.blogspot.com, of the ascending fifths from the Georgetown MUS112 guide
(spider.georgetowncollege.edu/music/burnette/MUS112/112q.htm), which also says that four chords,
a pair and its repetition, are enough for a sequence. The numerals of D3 (D4/A2) are from memory;
they follow from the label. Chords are spelled by music21 from the numerals.
"""

from __future__ import annotations

from dataclasses import replace

import music21
import pytest

from livecont.config import load_preferences
from livecont.music.key import Key, make_key
from livecont.music.pitch import LETTERS
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sitting.virtual import run, take_overs

# label, mode, three links of two chords each
ROWS = [
    ("D2 (D5/A4)", "major", "I IV viio iii vi ii"),
    ("D2 (D5/A4)", "minor", "i iv VII III VI iio"),
    ("A2 (A5/D4)", "major", "I V ii vi iii viio"),
    ("A2 (D3/A4)", "major", "I vi ii viio iii I"),
    ("D3 (D4/A2)", "major", "I V vi iii IV I"),
    ("D3 (D4/A2)", "minor", "i v VI III iv i"),
]
BEAT_S = 0.45
CHORD_BEATS = 2
FIFTHS = range(-5, 6)


def chords(figures: str, fifths: int, mode: str) -> list[music21.roman.RomanNumeral]:
    theirs = music21.key.KeySignature(fifths).asKey(mode)
    return [music21.roman.RomanNumeral(figure, theirs) for figure in figures.split()]


def our_key(fifths: int, mode: str) -> Key:
    tonic = music21.key.KeySignature(fifths).asKey(mode).tonic
    return make_key(LETTERS.index(tonic.step), int(tonic.alter), mode)


def played(key: Key, numerals: list[music21.roman.RomanNumeral]) -> list[PlayerEvent]:
    """Play two links of two chords: the root below, then the chord above it.

    Roots go by the shorter way inside a link, and from link to link by the sequence's step; the
    right hand moves to the nearest position inside a link (common practice), else every chord
    would be a link by itself.
    """
    degrees = [numeral.scaleDegree - 1 for numeral in numerals]
    home = 14 + key.letter + degrees[0]
    inside = _nearest(degrees[1] - degrees[0])
    step = _nearest(degrees[2] - degrees[0])
    first = [home + 14 + above for above in (0, 2, 4)]
    second = [home + inside + above for above in (0, 2, 4)]
    second = [first[0] + (place - first[0]) % 7 for place in second]
    events: list[PlayerEvent] = []
    for number in range(4):
        moved, within = number // 2 * step, number % 2
        at_s = number * CHORD_BEATS * BEAT_S
        events += _note(at_s, key.natural(home + moved + within * inside).midi)
        for place in second if within else first:
            events += _note(at_s + BEAT_S, key.natural(place + moved).midi)
    return sorted(events, key=lambda event: event.at_s)


def _nearest(degrees: int) -> int:
    return (degrees + 3) % 7 - 3


def _note(at_s: float, pitch: int) -> list[PlayerEvent]:
    return [
        KeyDown(at_s=at_s, pitch=pitch, velocity=70),
        KeyUp(at_s=at_s + 0.9 * BEAT_S, pitch=pitch),
    ]


@pytest.mark.parametrize("fifths", FIFTHS)
@pytest.mark.parametrize(("label", "mode", "figures"), ROWS, ids=str)
def test_the_third_link_is_the_handbooks(label: str, mode: str, figures: str, fifths: int) -> None:
    key = our_key(fifths, mode)
    numerals = chords(figures, fifths, mode)
    settings = replace(load_preferences().settings, key=key, most_links=1)
    taken = take_overs(run(settings, played(key, numerals[:4])))
    assert len(taken) == 1
    assert taken[0].start_s == pytest.approx(4 * CHORD_BEATS * BEAT_S, abs=0.01)
    sign = 1 if label.startswith("A") else -1
    assert taken[0].pattern.step_degrees == sign * (int(label[1]) - 1)
    notes = sorted(taken[0].link.notes, key=lambda note: note.offset_s)
    halves = [notes[: len(notes) // 2], notes[len(notes) // 2 :]]
    for half, numeral in zip(halves, numerals[4:], strict=True):
        theirs = {pitch.name.replace("-", "b") for pitch in numeral.pitches}
        assert {note.spelling.letter_name for note in half} == theirs
        assert half[0].spelling.letter_name == numeral.root().name.replace("-", "b")
