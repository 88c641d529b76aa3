"""The chain to come: inside the compass, as far as it goes, with the player's touch."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, takewhile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.music.compass import Compass
from livecont.music.key import parse_key
from livecont.sequence.chain import MOST_LINKS, Chain
from livecont.sequence.pattern import Pattern
from tests import strategies
from tests.sequence.heard import hear, play
from tests.strategies import PIANO, perform, tonal_chains

DOWN = "E5.C4 C5 D5.B3 G4 F4.D4 A4 B4.G3 E4 | D5.B3 B4 C5.A3 F4 E4.C4 G4 A4.F3 D4"
UP = "E4.C3 C4 D4.B2 G4 F4.D3 A4 B4.G3 C5 | F4.D3 D4 E4.C3 A4 G4.E3 B4 C5.A3 D5"
IN_D = "D5.B3 F#5 E5.A3 G5 C#5.F#4 B4 | C#5.A3 E5 D5.G3 F#5 B4.E4 A4"
# every MIDI pitch, so that only the instrument under test bounds a chain
EVERYTHING = Compass(
    name="all", title="", lowest=0, highest=127, absent=frozenset(), source="made for tests"
)
SHORT_OCTAVE = Compass(
    name="short",
    title="C/E-c3",
    lowest=36,
    highest=84,
    absent=frozenset({37, 39, 42, 44}),
    source="made for tests",
)


def pattern_of(text: str) -> Pattern:
    return hear(play(text)).pattern()


def pitches(pattern: Pattern, compass: Compass, most: int | None = None) -> list[list[int]]:
    links = Chain(pattern=pattern, compass=compass, most_links=most).links()
    return [[note.pitch for note in link.notes] for link in links]


def compasses() -> st.SearchStrategy[Compass]:
    """Compasses of three octaves and more, some with a short octave."""
    return st.builds(
        lambda lowest, width, short: Compass(
            name="some",
            title="",
            lowest=lowest,
            highest=lowest + width,
            absent=frozenset(lowest + n for n in (1, 3, 6, 8)) if short else frozenset(),
            source="made for tests",
        ),
        st.integers(21, 48),
        st.integers(36, 72),
        st.booleans(),
    )


@settings(max_examples=60)
@given(tonal_chains(), compasses())
def test_a_chain_goes_on_while_every_note_has_a_key_and_no_longer(
    chain: strategies.Chain, compass: Compass
) -> None:
    pattern = hear(perform(chain).events, chain.key).pattern()
    everywhere = pitches(pattern, EVERYTHING)
    wanted = list(takewhile(compass.holds, everywhere))
    assert pitches(pattern, compass) == wanted


@pytest.mark.parametrize("text", [DOWN, UP], ids=["down", "up"])
def test_links_are_numbered_from_those_heard_and_move_by_the_step(text: str) -> None:
    pattern = pattern_of(text)
    links = list(Chain(pattern=pattern, compass=PIANO).links())
    assert [link.number for link in links] == list(range(3, 3 + len(links)))
    assert len(links) > 10
    for one, other in pairwise(links):
        assert [n.spelling.staff + pattern.step_degrees for n in one.notes] == [
            n.spelling.staff for n in other.notes
        ]
        assert all(link.unit_s == pattern.unit_s for link in (one, other))


def test_a_descending_chain_ends_above_the_lowest_key_and_a_rising_one_below_the_highest() -> None:
    """The very last link: one more step would leave the keyboard."""
    for text, bottom in ((DOWN, True), (UP, False)):
        links = pitches(pattern_of(text), PIANO)
        extreme = min(links[-1]) if bottom else max(links[-1])
        assert 0 <= (extreme - PIANO.lowest if bottom else PIANO.highest - extreme) <= 2


def test_a_short_octave_stops_a_chain_at_a_key_that_it_lacks() -> None:
    """C/E has C2, D2, E2, F2, G2 but none of the sharps between."""
    pattern = hear(play(IN_D), parse_key("D major")).pattern()
    full = pitches(pattern, replace(SHORT_OCTAVE, absent=frozenset()))
    short = pitches(pattern, SHORT_OCTAVE)
    assert 0 < len(short) < len(full)
    assert short == full[: len(short)]
    assert any(pitch in SHORT_OCTAVE.absent for pitch in full[len(short)])


@pytest.mark.parametrize("most", [0, 1, 3])
def test_so_many_links_and_no_more(most: int) -> None:
    pattern = pattern_of(DOWN)
    assert pitches(pattern, PIANO, most) == pitches(pattern, PIANO)[:most]


def test_a_chain_with_no_room_at_all_has_no_links() -> None:
    narrow = replace(PIANO, lowest=60, highest=64)
    assert pitches(pattern_of(DOWN), narrow) == []


def test_a_chain_that_does_not_move_is_cut() -> None:
    pattern = replace(pattern_of(DOWN), step_degrees=0)
    assert len(pitches(pattern, PIANO)) <= MOST_LINKS


def test_the_same_pattern_gives_the_same_chain() -> None:
    pattern = pattern_of(UP)
    chain = Chain(pattern=pattern, compass=PIANO)
    assert list(chain.links()) == list(chain.links())
    assert list(chain.links()) == list(Chain(pattern=pattern, compass=PIANO).links())


def test_touch_and_timing_are_the_players() -> None:
    events = play(DOWN, 0.25, held=0.6, velocity=91)
    link = next(Chain(pattern=hear(events).pattern(), compass=PIANO).links())
    assert link.unit_s == pytest.approx(2.0)
    assert sorted({round(note.offset_s, 6) for note in link.notes}) == pytest.approx(
        [0.25 * n for n in range(8)]
    )
    assert {note.velocity for note in link.notes} == {91}
    assert [note.duration_s for note in link.notes] == pytest.approx([0.15] * 12)


def test_velocities_stay_in_the_range_of_midi() -> None:
    pattern = pattern_of(DOWN)
    loud = replace(
        pattern,
        positions=tuple(
            replace(p, velocity=v) for p, v in zip(pattern.positions, (0, 200) * 6, strict=True)
        ),
    )
    link = next(Chain(pattern=loud, compass=PIANO).links())
    assert {note.velocity for note in link.notes} == {1, 127}
