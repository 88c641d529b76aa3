"""The table of images: which pitch lies so many degrees from which, against music21."""

from __future__ import annotations

import music21
import numpy as np
import pytest

from livecont.music.key import parse_key
from livecont.sequence.affinity import affinity

WIDEST = 4
RESPELLED = 0.8


@pytest.mark.parametrize("name", ["C major", "e minor", "Ab major", "d dorian", "F# mixolydian"])
def test_notes_of_the_scale_have_their_image_where_music21_has_it(name: str) -> None:
    key = parse_key(name)
    table = affinity(key, WIDEST, RESPELLED)
    their = music21.key.Key(key.tonic.replace("b", "-"), key.mode)
    scale = [int(pitch.ps) for pitch in their.getScale().getPitches("C3", "C6")]
    for at in range(WIDEST, len(scale) - WIDEST):
        for step in range(-WIDEST, WIDEST + 1):
            assert table[scale[at], scale[at + step], step + WIDEST] == 1.0


def test_a_note_that_can_be_spelled_two_ways_weighs_less_the_unusual_way() -> None:
    table = affinity(parse_key("C major"), WIDEST, RESPELLED)
    assert table[60, 66, 3 + WIDEST] == 1.0  # C up to F#, a fourth
    assert table[60, 66, 4 + WIDEST] == np.float32(RESPELLED)  # C up to Gb, a fifth
    assert table[60, 66, 2 + WIDEST] == 0.0


def test_a_note_of_the_scale_is_its_own_image_only_at_no_step() -> None:
    key = parse_key("G major")
    table = affinity(key, WIDEST, RESPELLED)
    for staff in range(20, 40):
        pitch = key.natural(staff).midi
        for step in range(-WIDEST, WIDEST + 1):
            assert (table[pitch, pitch, step + WIDEST] > 0) == (step == 0)


@pytest.mark.parametrize("name", ["C major", "f# minor", "Db major"])
def test_the_image_of_the_image_is_the_note(name: str) -> None:
    table = affinity(parse_key(name), WIDEST, RESPELLED)
    np.testing.assert_array_equal(table, table.transpose(1, 0, 2)[:, :, ::-1])


def test_the_table_is_shared_and_nobody_may_write_to_it() -> None:
    table = affinity(parse_key("C major"), WIDEST, RESPELLED)
    assert affinity(parse_key("C major"), WIDEST, RESPELLED) is table
    with pytest.raises(ValueError, match="read-only"):
        table[0, 0, 0] = 1.0
