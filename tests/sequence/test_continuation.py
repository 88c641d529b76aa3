"""The rules of continuation against sequences that the handbooks give (common practice).

The examples are our own notes; a chord is written with dots, a missing note as '-'.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import Spelling, spelling
from livecont.sequence.continuation import carry_on, kind_of
from livecont.sequence.pattern import Kind, Position


def links(*texts: str) -> tuple[Position, ...]:
    """Positions from links written as names, equally long chords, one a word."""
    chords = [[chord.split(".") for chord in text.split()] for text in texts]
    result = []
    for at, columns in enumerate(zip(*chords, strict=True)):
        for heard in zip(*columns, strict=True):
            result.append(
                Position(
                    offset_units=at / len(chords[0]),
                    articulation=1 / len(chords[0]),
                    velocity=64,
                    channel=0,
                    heard=tuple(None if n == "-" else spelling(n) for n in heard),
                )
            )
    return tuple(result)


def written(positions: tuple[Position, ...], pitches: tuple[Spelling | None, ...]) -> str:
    """A link as text, in the way of `links`."""
    chords: dict[float, list[str]] = {}
    for position, pitch in zip(positions, pitches, strict=True):
        chords.setdefault(position.offset_units, []).append("-" if pitch is None else pitch.name)
    return " ".join(".".join(chords[at]) for at in sorted(chords))


def third(one: str, two: str, step: int, key: str) -> str:
    positions = links(one, two)
    return written(positions, carry_on(positions, step, parse_key(key)))


def chain(one: str, two: str, step: int, key: str, count: int) -> list[str]:
    positions = links(one, two)
    found = []
    for _ in range(count):
        pitches = carry_on(positions, step, parse_key(key))
        found.append(written(positions, pitches))
        positions = tuple(
            replace(p, heard=(*p.heard, s)) for p, s in zip(positions, pitches, strict=True)
        )
    return found


def test_circle_of_fifths_in_major_stays_in_the_key() -> None:
    # D2 (D5/A4): roots C F | B E | A D | G C, the diminished triad in root position as usual
    assert chain("C3.G4.E5 F3.F4.C5", "B2.F4.D5 E3.E4.B4", -1, "C major", 2) == [
        "A2.E4.C5 D3.D4.A4",
        "G2.D4.B4 C3.C4.G4",
    ]


def test_circle_of_fifths_in_minor_raises_the_third_when_it_reaches_the_dominant() -> None:
    # iv7 VII7 | III7 VI7 | ii°7 V7: natural minor inside, the leading tone at the dominant
    model, copy = "A2.C4.G4 D3.C4.F#4", "G2.B3.F#4 C3.B3.E4"
    assert third(model, copy, -1, "e minor") == "F#2.A3.E4 B2.A3.D#4"


def test_circle_of_fifths_in_minor_keeps_the_natural_degrees_inside() -> None:
    # i iv | VII III | VI ii°
    assert third("A3.C5.E5 D3.A4.F5", "G3.B4.D5 C3.G4.E5", -1, "a minor") == "F3.A4.C5 B2.F4.D5"


def test_descending_thirds() -> None:
    # D3 (D4/A2), the pattern of the well-known ground: I V | vi iii | IV I
    assert (
        third("D4.F#4.D5 A3.E4.C#5", "B3.D4.B4 F#3.C#4.A4", -2, "D major") == "G3.B3.G4 D3.A3.F#4"
    )


def test_ascending_five_six() -> None:
    assert chain("G3.D4.B4 G3.E4.B4", "A3.E4.C5 A3.F#4.C5", 1, "G major", 3) == [
        "B3.F#4.D5 B3.G4.D5",
        "C4.G4.E5 C4.A4.E5",
        "D4.A4.F#5 D4.B4.F#5",
    ]


def test_parallel_sixth_chords_do_not_raise_anything() -> None:
    assert third("E4.G4.C5", "D4.F4.B4", -1, "C major") == "C4.E4.A4"
    assert third("C5.E5.A5", "B4.D5.G5", -1, "a minor") == "A4.C5.F5"


def test_applied_dominants_take_their_leading_tones_along() -> None:
    # V6/IV IV | V6/V V | V6/vi vi: the bass rises by a semitone in every link
    assert chain("E3.G4.C5 F3.A4.C5", "F#3.A4.D5 G3.B4.D5", 1, "C major", 1) == [
        "G#3.B4.E5 A3.C5.E5"
    ]


def test_chromatic_neighbours_go_with_their_notes() -> None:
    assert third("E4 D#4 E4 G4", "F4 E4 F4 A4", 1, "C major") == "G4 F#4 G4 B4"


def test_borrowed_notes_of_both_links_set_the_home() -> None:
    # both links are in c minor for a while, though the player chose C major
    assert third("C5 Bb4 Ab4 G4", "Bb4 Ab4 G4 F4", -1, "C major") == "Ab4 G4 F4 Eb4"


def test_a_real_sequence_goes_on_exactly() -> None:
    positions = links("C4 C#4 D4", "D4 D#4 E4")
    key = parse_key("C major")
    assert kind_of(positions, 1, key) == (Kind.REAL, 2)
    assert written(positions, carry_on(positions, 1, key)) == "E4 E#4 F#4"


def test_a_real_chain_is_spelled_readably_when_sharps_run_out() -> None:
    found = chain("C4 C#4 D4", "D4 D#4 E4", 1, "C major", 6)
    assert found[:4] == ["E4 E#4 F#4", "Gb4 G4 Ab4", "Ab4 A4 Bb4", "Bb4 B4 C5"]


def test_kinds() -> None:
    c_major = parse_key("C major")
    assert kind_of(links("C4 E4 D4", "D4 F4 E4"), 1, c_major) == (Kind.TONAL, None)
    neighbours = links("E4 D#4 E4 G4", "F4 E4 F4 A4")
    assert kind_of(neighbours, 1, c_major) == (Kind.MIXED, None)
    # the same semitones by chance, in the key
    assert kind_of(links("C4 D4", "F4 G4"), 3, c_major) == (Kind.TONAL, None)
    assert kind_of(links("C4 C4", "F4 F4"), 3, parse_key("F major")) == (Kind.TONAL, 5)


def test_what_the_player_dropped_is_left_out_and_what_came_stays() -> None:
    assert third("C4.G4 E4.-", "D4.- F4.C5", 1, "C major") == "E4.- G4.D5"


def test_a_bass_that_both_links_leave_in_place_is_a_pedal() -> None:
    positions = links("G2.- D4.F4 E4.G4", "-.G2 E4.G4 F4.A4")
    assert written(positions, carry_on(positions, 1, parse_key("C major"))) == "-.G2 F4.A4 G4.B4"


def test_chord_notes_that_two_links_share_are_no_pedal() -> None:
    # two notes stay between the links, as common tones of their chords do
    positions = links("C3.E3.-.- G3.-", "E3.-.C3.G3 B3.G3")
    assert written(positions, carry_on(positions, 2, parse_key("C major"))) == "G3.-.E3.B3 D4.B3"


def test_nothing_to_carry_on() -> None:
    positions = links("C4 D4", "- -")
    key = parse_key("C major")
    assert carry_on(positions, 1, key) == (None, None)
    assert kind_of(positions, 1, key) == (Kind.TONAL, None)
    assert carry_on((), 1, key) == ()


def test_the_last_two_links_played_decide() -> None:
    positions = links("C4 C#4 D4", "D4 E4 F4", "E4 F4 G4")
    key = parse_key("C major")
    assert written(positions, carry_on(positions, 1, key, played=3)) == "F4 G4 A4"


@pytest.mark.parametrize("key", ["C major", "a minor", "d dorian", "e phrygian"])
def test_later_links_do_not_depend_on_what_was_sounded(key: str) -> None:
    positions = links("C4 E4 D4 F4", "D4 F4 E4 G4")
    first = carry_on(positions, 1, parse_key(key))
    straight = tuple(replace(p, heard=(*p.heard, s)) for p, s in zip(positions, first, strict=True))
    bent = tuple(
        replace(p, heard=(*p.heard, Spelling(s.staff, s.alter - 1) if s else None))
        for p, s in zip(positions, first, strict=True)
    )
    assert carry_on(straight, 1, parse_key(key)) == carry_on(bent, 1, parse_key(key))
