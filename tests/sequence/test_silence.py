"""What is no sequence does not set it off: scales, arpeggios, trills, repeats, plain playing.

A scale moves every note by the same step, and an arpeggio or a repeat is its own image, yet no
musician takes them for sequences (common practice; issue 3, 'Saying nothing').
"""

from __future__ import annotations

import random  # noqa: TID251 - only seeded, by the test's number
from collections.abc import Sequence

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from livecont.music.key import Key, parse_key
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sitting.events import Settings, TookOver
from livecont.sitting.virtual import run, take_overs
from tests.strategies import (
    PIANO,
    Chain,
    Model,
    Touch,
    in_time,
    keys,
    lines,
    models,
    perform,
    tempi,
    wandering,
)

KEYS = ("C major", "e minor", "Bb major", "f# dorian")


def played(onsets: Sequence[tuple[int, ...]], ioi_s: float = 0.2) -> tuple[PlayerEvent, ...]:
    """MIDI pitches at even onsets, then nothing."""
    events: list[PlayerEvent] = []
    for at, pitches in enumerate(onsets):
        for pitch in pitches:
            events.append(KeyDown(at_s=1 + at * ioi_s, pitch=pitch, velocity=70))
            events.append(KeyUp(at_s=1 + (at + 0.8) * ioi_s, pitch=pitch))
    return in_time(events)


def places(key: Key, *staffs: Sequence[int]) -> list[tuple[int, ...]]:
    """Staff places of one part or more, as pitches of the key's scale."""
    return [tuple(key.natural(s).midi for s in chord) for chord in zip(*staffs, strict=True)]


def taken_over(events: Sequence[PlayerEvent], key: Key | None) -> tuple[TookOver, ...]:
    return take_overs(run(Settings(key=key, compass=PIANO), events))


@pytest.mark.parametrize("ioi_s", [0.1, 0.25])
@pytest.mark.parametrize("way", ["up", "down", "up and down"])
@pytest.mark.parametrize(
    "parts", [(0,), (0, 7), (0, 2), (0, 5)], ids=["one", "8ves", "3rds", "6ths"]
)
def test_scales(parts: tuple[int, ...], way: str, ioi_s: float) -> None:
    for name in KEYS:
        key = parse_key(name)
        up = list(range(key.letter + 21, key.letter + 36))
        run_of = {"up": up, "down": up[::-1], "up and down": [*up, *up[-2::-1]]}[way]
        notes = places(key, *([s + above for s in run_of] for above in parts))
        assert taken_over(played(notes, ioi_s), key) == ()


@pytest.mark.parametrize("ioi_s", [0.15, 0.3])
@pytest.mark.parametrize("above", [2, 5, 7], ids=["3rds", "6ths", "8ves"])
@pytest.mark.parametrize("seed", range(3))
def test_scales_of_two_hands_that_are_not_quite_together(
    seed: int, above: int, ioi_s: float
) -> None:
    """Each finger some 10 ms early or late, so that one hand is often there before the other."""
    lot = random.Random(seed)
    key = parse_key("C major")
    up = list(range(28, 49))
    events: list[PlayerEvent] = []
    for at, staff in enumerate([*up, *up[-2::-1]]):
        for (pitch,) in places(key, [staff]) + places(key, [staff + above]):
            at_s = 1 + at * ioi_s + lot.gauss(0, 0.01)
            events.append(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
            events.append(KeyUp(at_s=at_s + 0.8 * ioi_s, pitch=pitch))
    assert taken_over(in_time(events), key) == ()


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("above", [0, 12])
def test_chromatic_scales_of_two_hands(above: int, seed: int) -> None:
    lot = random.Random(seed)
    events: list[PlayerEvent] = []
    for at, pitch in enumerate([*range(48, 73), *range(71, 47, -1)]):
        for hand in {pitch, pitch + above}:
            at_s = 1 + at * 0.15 + lot.gauss(0, 0.008)
            events.append(KeyDown(at_s=at_s, pitch=hand, velocity=70))
            events.append(KeyUp(at_s=at_s + 0.1, pitch=hand))
    assert taken_over(in_time(events), parse_key("C major")) == ()


@pytest.mark.parametrize("seed", range(3))
def test_a_run_inside_a_figure_of_two_hands_is_not_taken_for_a_link(seed: int) -> None:
    """A five-finger exercise in octaves: the run in its link is none itself."""
    lot = random.Random(seed)
    events: list[PlayerEvent] = []
    for at, pitch in enumerate((60, 64, 65, 67, 69, 67, 65, 64, 62, 65, 67, 69, 71, 69, 67, 65)):
        for hand in (pitch, pitch - 12):
            at_s = 1 + at * 0.12 + lot.gauss(0, 0.008)
            events.append(KeyDown(at_s=at_s, pitch=hand, velocity=70))
            events.append(KeyUp(at_s=at_s + 0.1, pitch=hand))
    (taken,) = taken_over(in_time(events), parse_key("C major"))
    assert taken.pattern.step_degrees == 1
    assert taken.pattern.unit_s == pytest.approx(8 * 0.12, rel=0.05)


@pytest.mark.parametrize("semitones", [1, -1, 2, -2, 3], ids=lambda n: f"by {n}")
def test_chromatic_runs(semitones: int) -> None:
    """Chromatic and whole-tone scales and a diminished seventh, over two octaves and more."""
    start = 48 if semitones > 0 else 84
    notes = [(start + semitones * n,) for n in range(36 // abs(semitones))]
    for key in (*(parse_key(name) for name in KEYS), None):
        assert taken_over(played(notes, 0.12), key) == ()


@pytest.mark.parametrize("name", KEYS)
@pytest.mark.parametrize("chord", [(0, 2, 4), (0, 2, 4, 6)], ids=["triad", "seventh"])
def test_arpeggios(name: str, chord: tuple[int, ...]) -> None:
    key = parse_key(name)
    tones = [key.letter + 21 + 7 * octave + place for octave in range(3) for place in chord]
    for run_of in (tones, tones[::-1], [*tones, *tones[-2::-1]]):
        assert taken_over(played(places(key, run_of), 0.15), key) == ()


@pytest.mark.parametrize("name", KEYS)
def test_trills_and_accompaniments(name: str) -> None:
    key = parse_key(name)
    tonic = key.letter + 28
    trill = places(key, [tonic, tonic + 1] * 16)
    murky = places(key, [tonic - 14, tonic - 7] * 12)
    broken = places(key, [tonic, tonic + 4, tonic + 2, tonic + 4] * 6)
    drums = places(key, *([tonic + above] * 12 for above in (0, 2, 4)))
    for notes in (trill, murky, broken, drums):
        assert taken_over(played(notes, 0.12), key) == ()


@settings(max_examples=40)
@given(keys(), models(), tempi(), st.sampled_from([0, 7, -7]))
def test_exact_repeats_also_an_octave_away(key: Key, model: Model, tick_s: float, by: int) -> None:
    """The same again, or in another register, whatever it is."""
    chain = Chain(key=key, model=model, step=by)
    assume(not moves_inside(chain))
    assert taken_over(perform(chain, Touch(tick_s=tick_s), links=3).events, key) == ()


def moves_inside(chain: Chain) -> bool:
    """Whether a figure inside the link is moved on by a step: then it is a sequence after all.

    As in `strategies.told_apart`, but for steps other than the unison and the octave, and at any
    place: as many notes in a row as a figure of two onsets has twice.
    """
    places_of = chain.places(3)
    onsets = len(places_of) // 3
    for lag in range(2, onsets):
        for step in (-4, -3, -2, -1, 1, 2, 3, 4):
            moved = [
                bool(late & {staff + step for staff in early})
                for early, late in zip(places_of, places_of[lag:], strict=False)
            ]
            if any(all(moved[at : at + lag]) for at in range(len(moved) - lag + 1)):
                return True
    return False


@settings(max_examples=20)
@given(keys("major", "minor"), lines(), tempi())
def test_one_link_alone(key: Key, model: Model, tick_s: float) -> None:
    chain = Chain(key=key, model=model, step=1)
    assume(not moves_inside(chain))
    assert taken_over(perform(chain, Touch(tick_s=tick_s), links=1).events, key) == ()


@pytest.mark.parametrize("seed", range(6))
def test_wandering_without_a_pattern(seed: int) -> None:
    assert taken_over(wandering(1.0, 150, seed), parse_key("C major")) == ()


I_CHORD, IV_CHORD, V_CHORD = (60, 64, 67), (65, 69, 72), (67, 71, 74)


@pytest.mark.parametrize("times", [(2, 2), (4, 2), (4, 4), (8, 8), (3, 3)])
@pytest.mark.parametrize("after", [IV_CHORD, V_CHORD, (62, 65, 69)], ids=["IV", "V", "ii"])
def test_a_chord_repeated_and_then_another(after: tuple[int, ...], times: tuple[int, int]) -> None:
    """A change of harmony: what is struck again and again has no inside to be moved."""
    onsets = [I_CHORD] * times[0] + [after] * times[1]
    assert taken_over(played(onsets), parse_key("C major")) == ()


@pytest.mark.parametrize("apart_s", [0.015, 0.03, 0.045])
def test_a_chord_rolled_and_then_another(apart_s: float) -> None:
    events: list[PlayerEvent] = []
    for number, chord in enumerate(((48, 64, 67, 72), (50, 65, 69, 74))):
        for voice, pitch in enumerate(chord):
            at_s = 1 + number + voice * apart_s
            events.append(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
            events.append(KeyUp(at_s=1.9 + number, pitch=pitch))
    assert taken_over(in_time(events), parse_key("C major")) == ()


@pytest.mark.parametrize("after", [IV_CHORD, V_CHORD], ids=["IV", "V"])
@pytest.mark.parametrize("order", [(0, 1, 2, 1), (0, 2, 1, 2), (0, 1, 2, 3, 2, 1), (3, 2, 1, 0)])
def test_a_broken_triad_that_goes_to_its_fourth_or_fifth(
    after: tuple[int, ...], order: tuple[int, ...]
) -> None:
    """Tonic and subdominant, or dominant, as every accompaniment has them."""
    onsets = [((*chord, chord[0] + 12)[at],) for chord in (I_CHORD, after) for at in order]
    assert taken_over(played(onsets), parse_key("C major")) == ()


def test_a_broken_triad_that_goes_on_by_fifths_is_a_circle() -> None:
    """The third link tells."""
    circle = ((72, 76, 79), (65, 69, 72), (71, 74, 77))  # I IV vii
    onsets = [(chord[at],) for chord in circle for at in (0, 2, 1, 2)]
    (taken,) = taken_over(played(onsets), parse_key("C major"))
    assert abs(taken.pattern.step_degrees) in (3, 4)


def test_a_broken_triad_that_moves_by_step_is_a_sequence() -> None:
    """The commonest exercise of all."""
    onsets = [(chord[at],) for chord in (I_CHORD, (62, 65, 69)) for at in (0, 1, 2, 1)]
    (taken,) = taken_over(played(onsets), parse_key("C major"))
    assert taken.pattern.step_degrees == 1
