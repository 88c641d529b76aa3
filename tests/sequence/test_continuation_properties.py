"""Chains over many links: real stays real, tonal stays in the key, order does not matter.

Checked against music21's transposition and scales.
"""

from __future__ import annotations

from dataclasses import replace

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from livecont.music.key import MODE_FIFTHS, MOST_FIFTHS, Key, parse_key
from livecont.music.pitch import LETTERS, Spelling
from livecont.sequence.continuation import carry_on, kind_of
from livecont.sequence.continuation_rules import PLAIN_SIZES, interval
from livecont.sequence.pattern import Kind, Position

music21_interval = pytest.importorskip("music21.interval")
music21_key = pytest.importorskip("music21.key")
music21_pitch = pytest.importorskip("music21.pitch")

KEYS = [
    key
    for letter in range(7)
    for alter in (-1, 0, 1)
    for mode in MODE_FIFTHS
    if abs((key := Key(letter, alter, mode)).fifths) <= MOST_FIFTHS
]


def positions_of(*heard: list[Spelling]) -> tuple[Position, ...]:
    """A single voice, equal notes."""
    count = len(heard[0])
    return tuple(
        Position(
            offset_units=at / count, articulation=1 / count, velocity=64, channel=0, heard=pitches
        )
        for at, pitches in enumerate(zip(*heard, strict=True))
    )


def carried(positions: tuple[Position, ...], step: int, key: Key, count: int) -> list[list[int]]:
    """MIDI numbers of so many further links."""
    found = []
    for _ in range(count):
        pitches = carry_on(positions, step, key)
        found.append([s.midi for s in pitches if s is not None])
        positions = tuple(
            replace(p, heard=(*p.heard, s)) for p, s in zip(positions, pitches, strict=True)
        )
    return found


@settings(max_examples=60, deadline=None)
@given(
    key=st.sampled_from(KEYS),
    staffs=st.lists(st.integers(25, 38), min_size=3, max_size=9),
    step=st.sampled_from([-4, -3, -2, -1, 1, 2, 3, 4]),
)
def test_a_plain_diatonic_voice_stays_in_its_key(key: Key, staffs: list[int], step: int) -> None:
    one = [key.natural(s) for s in staffs]
    two = [key.natural(s + step) for s in staffs]
    for number, link in enumerate(carried(positions_of(one, two), step, key, 10), 2):
        assert link == [key.natural(s + number * step).midi for s in staffs]


@pytest.mark.parametrize(("name", "step"), [("M2", 1), ("m3", 2), ("M3", -2), ("P4", 3)])
def test_a_real_chain_stays_real_for_twelve_links(name: str, step: int) -> None:
    # a chromatic turn: no key has all of both links
    names = ["E4", "D#4", "E4", "F4", "F#4", "G4"]
    ups = name if step > 0 else f"-{name}"
    links = [[music21_pitch.Pitch(n) for n in names]]
    for _ in range(13):
        links.append([p.transpose(ups) for p in links[-1]])
    spelled = [[Spelling(p.diatonicNoteNum - 1, int(p.alter)) for p in link] for link in links[:2]]
    positions = positions_of(*spelled)
    key = parse_key("C major")
    kind, shift = kind_of(positions, step, key)
    assert kind is Kind.REAL
    assert shift == music21_interval.Interval(ups).semitones
    found = carried(positions, step, key, 12)
    assert found == [[int(p.ps) for p in link] for link in links[2:]]


@pytest.mark.parametrize(("tonic", "mode"), [("D", "major"), ("f#", "minor"), ("B-", "major")])
@pytest.mark.parametrize("step", [-2, -1, 1, 3])
def test_a_tonal_chain_agrees_with_the_reference_scale(tonic: str, mode: str, step: int) -> None:
    reference = music21_key.Key(tonic, mode)
    degrees = (1, 3, 2, 4, 5)
    # pitches of three links by scale degree, from music21's realisation of the scale
    pitches = sorted(reference.getScale(mode).getPitches("C2", "C8"), key=lambda p: p.ps)
    middle = next(i for i, p in enumerate(pitches) if p.name == reference.tonic.name and p.ps > 58)
    links = [[pitches[middle + d - 1 + k * step] for d in degrees] for k in range(3)]
    spelled = [[Spelling(p.diatonicNoteNum - 1, int(p.alter)) for p in link] for link in links[:2]]
    key = parse_key(f"{tonic.replace('-', 'b')} {mode}")
    assert carried(positions_of(*spelled), step, key, 1) == [[int(p.ps) for p in links[2]]]


@settings(max_examples=60, deadline=None)
@given(
    key=st.sampled_from(KEYS),
    notes=st.lists(
        st.tuples(st.integers(0, 5), st.integers(22, 40), st.integers(-1, 1), st.integers(-1, 1)),
        min_size=2,
        max_size=14,
        unique_by=lambda n: (n[0], n[1]),
    ),
    step=st.sampled_from([-2, -1, 1, 2]),
    data=st.data(),
)
def test_the_order_of_positions_does_not_matter(
    key: Key, notes: list[tuple[int, int, int, int]], step: int, data: st.DataObject
) -> None:
    positions = tuple(
        Position(
            offset_units=at / 6,
            articulation=(1 + staff % 3) / 6,
            velocity=64,
            channel=0,
            heard=(Spelling(staff, a), Spelling(staff + step, b)),
        )
        for at, staff, a, b in notes
    )
    order = data.draw(st.permutations(range(len(positions))))
    straight = carry_on(positions, step, key)
    shuffled = carry_on(tuple(positions[i] for i in order), step, key)
    assert shuffled == tuple(straight[i] for i in order)


@given(low=st.integers(0, 6), high=st.integers(0, 6), a=st.integers(-1, 1), b=st.integers(-1, 1))
def test_intervals_agree_with_the_reference(low: int, high: int, a: int, b: int) -> None:
    found = interval(low, a, high, b)
    octave = 5 if high < low else 4
    reference = music21_interval.Interval(
        music21_pitch.Pitch(LETTERS[low] + "#" * max(a, 0) + "-" * max(-a, 0) + "4"),
        music21_pitch.Pitch(LETTERS[high] + "#" * max(b, 0) + "-" * max(-b, 0) + str(octave)),
    )
    assert found.generic == (reference.generic.undirected - 1) % 7
    assert PLAIN_SIZES[found.generic] + found.bend == reference.semitones
