"""Where chains lead, and patterns counted the other way."""

from __future__ import annotations

import pytest

from livecont.music.key import parse_key
from livecont.sequence.chain import Chain
from livecont.sequence.endings_circle import circle_of
from livecont.sequence.endings_kind import of_kind
from livecont.sequence.pattern import Kind, Pattern
from tests.sequence.textures import KEYS, PIANO, TEXTURES, Texture, pattern_of

C_MAJOR, D_MAJOR, E_MINOR = (parse_key(name) for name in ("C major", "D major", "e minor"))


def moving(step: int, shift: int | None = None, key: str = "C major") -> Pattern:
    texture = Texture(model=TEXTURES["two voices"].model, step=step, cells=2)
    pattern = pattern_of(texture, parse_key(key))
    if shift is None:
        return pattern
    real = of_kind(pattern, Kind.REAL)
    return Pattern(
        **{name: getattr(real, name) for name in Pattern.__dataclass_fields__}
        | {"shift_semitones": shift}
    )


@pytest.mark.parametrize(
    ("step", "shift", "links", "octaves"),
    [
        # the circle of semitones: common knowledge
        (-1, -2, 6, -1),
        (1, 2, 6, 1),
        (-1, -1, 12, -1),
        (2, 4, 3, 1),
        (2, 3, 4, 1),
        (3, 5, 12, 5),
        (-3, -5, 12, -5),
        (4, 7, 12, 7),
    ],
)
def test_a_real_circle_closes_where_the_semitones_add_up(
    step: int, shift: int, links: int, octaves: int
) -> None:
    circle = circle_of(moving(step, shift))
    assert (circle.links, circle.octaves) == (links, octaves)
    tonics = [key.tonic_pitch_class for key in circle.keys]
    assert tonics == [(n * shift) % 12 for n in range(links)]
    assert all(abs(key.fifths) <= 6 for key in circle.keys)


@pytest.mark.parametrize(
    ("step", "octaves"), [(-1, -1), (1, 1), (-2, -2), (2, 2), (-3, -3), (3, 3), (4, 4)]
)
def test_a_tonal_circle_closes_after_seven_links(step: int, octaves: int) -> None:
    circle = circle_of(moving(step))
    assert (circle.links, circle.octaves) == (7, octaves)
    assert {s.letter for s in circle.stations} == set(range(7))
    assert circle.keys == ()


def test_a_step_of_an_octave_is_back_at_once() -> None:
    circle = circle_of(moving(-7))
    assert (circle.links, circle.octaves) == (1, -1)


def test_it_is_said_in_names() -> None:
    assert circle_of(moving(-1, -2, "D major")).said == (
        "D, C, Bb, Ab, Gb, E and after 6 links D again"
    )
    assert circle_of(moving(2, 4)).said == "C, E, Ab and after 3 links C again"
    assert circle_of(moving(-2)).said.startswith("C, A, F, D, B, G, E and after 7")


@pytest.mark.parametrize("name", TEXTURES)
def test_the_circle_is_true_of_the_chain(name: str) -> None:
    for pattern in (
        pattern_of(TEXTURES[name], D_MAJOR, octaves=1),
        of_kind(pattern_of(TEXTURES[name], D_MAJOR, octaves=1), Kind.REAL),
    ):
        circle = circle_of(pattern)
        links = list(Chain(pattern=pattern, compass=PIANO).plain())
        for one, other in zip(links[1:], links[1 + circle.links :], strict=False):
            moves = {b.pitch - a.pitch for a, b in zip(one.notes, other.notes, strict=True)}
            assert moves == {12 * circle.octaves}


def test_a_tonal_pattern_made_real_moves_by_what_most_notes_moved() -> None:
    pattern = pattern_of(TEXTURES["four voices"], C_MAJOR)
    real = of_kind(pattern, Kind.REAL)
    # C E G, C F, F A C down a step in C major: the semitones lie between B C and E F
    assert real.shift_semitones == -1
    link = next(iter(Chain(pattern=real, compass=PIANO).links()))
    for note, position in zip(link.notes, pattern.positions, strict=True):
        heard = position.heard[1]
        assert heard is not None
        assert note.pitch == heard.midi - 1


def test_a_real_pattern_made_tonal_keeps_to_the_key() -> None:
    for key in KEYS:
        real = of_kind(pattern_of(TEXTURES["four voices"], key), Kind.REAL)
        tonal = of_kind(real, Kind.TONAL)
        links = list(Chain(pattern=tonal, compass=PIANO).links())
        assert links
        for note in links[0].notes:
            natural = key.natural(note.spelling.staff)
            leading = key.minor and key.degree(note.spelling.staff) in (5, 6)
            assert note.spelling == natural or leading


def test_a_pattern_of_that_kind_stays() -> None:
    pattern = pattern_of(TEXTURES["two voices"], E_MINOR)
    assert of_kind(pattern, Kind.TONAL) is pattern
