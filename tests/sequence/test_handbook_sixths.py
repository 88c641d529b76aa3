"""Handbook sequences of which every other chord is a sixth chord, as block chords, by music21.

The variants with sixths: D2 (D5/A4) after a. w. patty's theory site (austinpattytheory.com) and
timothymichaelrolls.com/New-sequences.html; the ascending 5-6 and D3 (D4/A2) with sixths: common
practice, numerals from memory; they follow from the labels. music21 spells the numerals and sets
them in close position; only the bass is led here, by the step. (Root positions: test_handbook.)
"""

from __future__ import annotations

import music21
import pytest

from livecont.music.key import Key, make_key
from livecont.music.pitch import LETTERS, Spelling
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from tests.sequence.heard import hear
from tests.strategies import in_time

# label, mode, three links of two chords, the bass in degrees from the tonic, the step
ROWS = [
    ("A2 5-6", "major", "I vi6 ii viio6 iii I6", (0, 0, 1, 1, 2, 2), 1),
    ("D2 (D5/A4)", "major", "I IV6 viio iii6 vi ii6", (0, -2, -1, -3, -2, -4), -1),
    ("D2 (D5/A4)", "minor", "i iv6 VII III6 VI iio6", (0, -2, -1, -3, -2, -4), -1),
    ("D3 (D4/A2)", "major", "I V6 vi iii6 IV I6", (0, -1, -2, -3, -4, -5), -2),
]
BEAT_S = 0.5


def set_chord(figure: str, their_key: music21.key.Key, bass: int) -> tuple[Spelling, ...]:
    """A chord as music21 sets it, moved by octaves so that its bass lies at a staff place."""
    pitches = music21.roman.RomanNumeral(figure, their_key).pitches
    lowest = pitches[0].diatonicNoteNum - 1
    assert (bass - lowest) % 7 == 0, "the bass told is the numeral's"
    return tuple(
        Spelling(pitch.diatonicNoteNum - 1 + bass - lowest, int(pitch.alter)) for pitch in pitches
    )


def struck(chords: list[tuple[Spelling, ...]]) -> tuple[PlayerEvent, ...]:
    events: list[PlayerEvent] = []
    for at, chord in enumerate(chords):
        for note in chord:
            events.append(KeyDown(at_s=1 + at * BEAT_S, pitch=note.midi, velocity=70))
            events.append(KeyUp(at_s=1 + (at + 0.9) * BEAT_S, pitch=note.midi))
    return in_time(events)


@pytest.mark.parametrize("sharps", [-4, -2, 0, 1, 3])
@pytest.mark.parametrize("row", ROWS, ids=[f"{row[0]} {row[1]}" for row in ROWS])
def test_two_links_of_numerals_are_continued(
    row: tuple[str, str, str, tuple[int, ...], int], sharps: int
) -> None:
    _, mode, figures, basses, step = row
    their_key = music21.key.KeySignature(sharps).asKey(mode)
    key: Key = make_key(LETTERS.index(their_key.tonic.step), int(their_key.tonic.alter), mode)
    home = 28 + key.letter
    chords = [
        set_chord(figure, their_key, home + bass)
        for figure, bass in zip(figures.split(), basses, strict=True)
    ]
    heard = hear(struck(chords[:4]), key)
    assert heard.stands.timing.unit_s == pytest.approx(2 * BEAT_S)
    assert heard.stands.alignment.step_degrees == step
    assert heard.names().split() == [note.name for chord in chords[4:] for note in chord]
