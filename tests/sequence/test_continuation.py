"""The rules of continuation against sequences that the handbooks give (common practice)."""

from __future__ import annotations

from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.continuation import carry_on, kind_of
from livecont.sequence.pattern import Kind, Position


def links(*texts: str) -> tuple[Position, ...]:
    """Positions from links written as names, one onset a word, '.' joins a chord, '-' is none."""
    onsets = [[chord.split(".") for chord in text.split()] for text in texts]
    result = []
    for at, chords in enumerate(zip(*onsets, strict=True)):
        for heard in zip(*chords, strict=True):
            result.append(
                Position(
                    offset_units=at / len(onsets[0]),
                    articulation=1 / len(onsets[0]),
                    velocity=64,
                    channel=0,
                    heard=tuple(None if n == "-" else spelling(n) for n in heard),
                )
            )
    return tuple(result)


def names(pitches) -> str:  # type: ignore[no-untyped-def]
    return " ".join("-" if s is None else s.name for s in pitches)


def test_a_plain_chain_keeps_the_key() -> None:
    positions = links("C4 E4 D4 F4", "D4 F4 E4 G4")
    assert names(carry_on(positions, 1, parse_key("C major"))) == "E4 G4 F4 A4"


def test_real_copies_of_a_real_pattern() -> None:
    positions = links("C4 C#4 D4", "D4 D#4 E4")
    key = parse_key("C major")
    assert kind_of(positions, 1, key) == (Kind.REAL, 2)
    assert names(carry_on(positions, 1, key)) == "E4 E#4 F#4"
