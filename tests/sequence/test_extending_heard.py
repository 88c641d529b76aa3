"""What was played, written down: metre, note values, hands."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.config import load_preferences
from livecont.demo import load_piece, perform
from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.score.writing import musicxml_of
from livecont.sequence.endings import Ending
from livecont.sequence.extending import Wish, extend
from livecont.sequence.extending_heard import grid_of, passage_of_pattern
from livecont.sequence.pattern import Kind, Pattern, Position
from livecont.sitting.events import Settings
from livecont.sitting.virtual import run, take_overs
from tests.strategies import PIANO

Q = Fraction


def heard(name: str) -> Pattern:
    """Return what is understood of a piece of the demonstration as it is performed there."""
    piece = load_piece(name)
    preferences = load_preferences()
    settings = Settings(key=piece.key, compass=preferences.compasses["modern"])
    return take_overs(run(settings, perform(piece)))[0].pattern


def pattern(*notes: tuple[str, float, float], unit_s: float = 2.0) -> Pattern:
    """Return a pattern of a second down, of (name, offset, length) in units."""
    positions = tuple(
        Position(
            offset_units=offset,
            articulation=length,
            velocity=64,
            channel=0,
            heard=(spelling(name), spelling(name)),
        )
        for name, offset, length in notes
    )
    return Pattern(
        unit_s=unit_s, step_degrees=-1, shift_semitones=None, kind=Kind.TONAL,
        key=parse_key("C major"), positions=positions, pedals=(), starts_s=(0.0, unit_s),
        due_s=2 * unit_s, confidence=1.0, links_heard=2,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("name", "meter", "unit_q"),
    [
        ("falling-fifths", (4, 4), 4),
        ("lament", (3, 4), 3),
        ("rising-gigue", (12, 8), 6),
        ("whole-tones-down", (4, 4), 4),
    ],
)
def test_the_demonstrations_pieces_come_out_in_their_metre(
    name: str, meter: tuple[int, int], unit_q: int
) -> None:
    """As performed, with rubato and spread chords; the metres are what their files say."""
    passage = passage_of_pattern(heard(name))
    signs = passage.score.meters
    assert [(sign.beats, sign.beat_type) for sign in signs] == [meter]
    assert passage.unit_q == unit_q
    assert max(n.onset_q.denominator for n in passage.score.notes) <= 4
    longer = extend(passage, Wish(compass=PIANO, links=2, ending=Ending.CLOSE))
    assert max(n.onset_q.denominator for n in longer.score.notes) <= 4


def test_even_notes_that_are_played_a_little_unevenly() -> None:
    offsets = [n / 8 + (0.006 if n % 2 else -0.004 if n else 0.0) for n in range(8)]
    names = ("C5", "E5", "D5", "F5", "E5", "G5", "F5", "D5")
    found = passage_of_pattern(
        pattern(*((name, at, 0.1) for name, at in zip(names, offsets, strict=True)))
    )
    onsets = [t.offset_q for t in found.templates]
    assert onsets == [n * found.unit_q / 8 for n in range(8)]
    assert {t.duration_q for t in found.templates} == {found.unit_q / 8}


def test_hands_are_told_apart() -> None:
    notes = [(name, n / 4, 0.24) for n, name in enumerate(("C5", "E5", "D5", "B4"))]
    found = passage_of_pattern(pattern(("C3", 0.0, 0.45), *notes, ("G2", 0.5, 0.45)))
    assert found.score.parts[0].staves == 2
    assert {n.staff for n in found.score.notes if n.spelling.octave < 4} == {2}
    assert {n.staff for n in found.score.notes if n.spelling.octave >= 4} == {1}


def test_short_notes_leave_a_rest_and_held_ones_last() -> None:
    found = passage_of_pattern(
        pattern(("C5", 0.0, 0.2), ("E5", 0.5, 0.24), ("D5", 0.75, 0.24), ("C4", 0.25, 0.74))
    )
    lengths = [template.duration_q / found.unit_q for template in found.templates]
    assert lengths == [Q(1, 4), Q(1, 4), Q(1, 4), Q(3, 4)]


def test_a_grid_fits_its_tempo() -> None:
    even = [("CDEFGAB"[n % 7] + "5", n / 4, 0.24) for n in range(4)]
    slow, fast = (grid_of(pattern(*even, unit_s=unit_s)) for unit_s in (6.0, 0.8))
    assert slow.beats > fast.beats
    for grid, unit_s in ((slow, 6.0), (fast, 0.8)):
        assert 40 <= 60 * grid.beats / unit_s <= 170


@given(
    notes=st.lists(
        st.tuples(st.integers(40, 80), st.floats(0, 0.999), st.floats(0.001, 1.5)),
        min_size=1,
        max_size=20,
    ),
    unit_s=st.floats(0.2, 12.0),
)
@settings(max_examples=60)
def test_whatever_was_played_can_be_written(
    notes: list[tuple[int, float, float]], unit_s: float
) -> None:
    key = parse_key("C major")
    ordered = sorted(notes, key=lambda note: (note[1], note[0]))
    found = passage_of_pattern(
        pattern(*((key.spell(p).name, at, lasts) for p, at, lasts in ordered), unit_s=unit_s)
    )
    assert len(found.templates) == len(notes)
    assert all(0 <= t.offset_q < found.unit_q and t.duration_q > 0 for t in found.templates)
    assert musicxml_of(found.score).count("<pitch>") >= len(found.score.notes)
    assert found.score.length_q >= 2 * found.unit_q
