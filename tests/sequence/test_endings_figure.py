"""Links taken apart: hands, harmonies, and notes on the ladders of triads."""

from __future__ import annotations

import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import LETTERS
from livecont.sequence.endings_figure import figure_of, on_rung, rung_of
from livecont.sequence.endings_leading import (
    LOWER,
    UPPER,
    Outer,
    Struck,
    hidden,
    outer_pairs,
    parallels,
)
from tests.sequence.textures import KEYS, TEXTURES, Texture, pattern_of

C_MAJOR = parse_key("C major")
# the roots of the models, as they are written in `textures`, at the step of the second link
ROOTS = {
    **dict.fromkeys(
        (
            *("two voices", "four voices", "open chords", "broken chords", "murmuring bass"),
            *("running line", "off the beat", "single line"),
        ),
        "CF",
    ),
    "falling thirds": "CG",
    "five six": "CA",
    "rising fifths": "CG",
    "seven six": "F",
    "parallel sixths": "C",
    "four harmonies": "CFDG",
}


@pytest.mark.parametrize("name", TEXTURES)
def test_harmonies_have_the_roots_they_were_written_on(name: str) -> None:
    texture = TEXTURES[name]
    for key in KEYS:
        found = figure_of(pattern_of(texture, key)).cells
        wanted = [(LETTERS.index(r) + texture.step + key.letter) % 7 for r in ROOTS[name]]
        assert [cell.root for cell in found] == wanted, key.name
        assert len(found) == texture.cells
        assert found[0].start == 0
        assert found[-1].end == 1


@pytest.mark.parametrize("name", TEXTURES)
def test_hands_do_not_cross(name: str) -> None:
    figure = figure_of(pattern_of(TEXTURES[name], C_MAJOR))
    lower = [tone.staff for tone in figure.tones if tone.part == LOWER]
    upper = [tone.staff for tone in figure.tones if tone.part == UPPER]
    assert upper
    assert bool(lower) == (name != "single line")
    if lower:
        assert max(lower) < max(upper)
        assert min(lower) < min(upper)


@pytest.mark.parametrize("name", TEXTURES)
def test_every_note_is_told_by_its_rung(name: str) -> None:
    for cell in figure_of(pattern_of(TEXTURES[name], C_MAJOR)).cells:
        for note in cell.notes:
            assert on_rung(note.rung, cell.root) + note.away == note.tone.staff


def test_rungs_go_up_the_triad() -> None:
    assert [rung_of(staff, 0) for staff in (28, 30, 32, 35)] == [12, 13, 14, 15]
    assert rung_of(29, 0) is None
    for root in range(7):
        assert all(rung_of(on_rung(rung, root), root) == rung for rung in range(30))


def test_an_empty_pattern_has_no_harmonies() -> None:
    texture = Texture(model=(), step=-1, cells=0)
    assert figure_of(pattern_of(texture, C_MAJOR)).cells == ()


def test_a_hand_counts_until_it_strikes_again() -> None:
    notes = [
        Struck(0.0, LOWER, 48),
        Struck(0.01, UPPER, 64),
        Struck(0.5, UPPER, 67),
        Struck(0.75, LOWER, 50),
        Struck(0.75, UPPER, 69),
        Struck(0.75, UPPER, 72),
    ]
    assert outer_pairs(notes) == [Outer(48, 64), Outer(48, 67), Outer(50, 72)]
    assert outer_pairs(notes[:1]) == []


def test_parallels_and_hidden_ones() -> None:
    """As the handbooks have them: fifths and octaves in the same direction."""
    assert parallels([Outer(48, 67), Outer(50, 69), Outer(50, 62), Outer(52, 64)]) == 2
    # by contrary motion, or staying, they are none
    assert parallels([Outer(48, 67), Outer(60, 67), Outer(53, 72), Outer(53, 72)]) == 0
    assert hidden(Outer(48, 64), Outer(53, 72))
    assert not hidden(Outer(48, 71), Outer(53, 72))
