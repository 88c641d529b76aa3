"""Words on the screen, checked against music21's names of intervals and keys."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.screen import ScreenNotes
from livecont.screen.wording import (
    end_words,
    key_words,
    letter_name,
    octave_sign,
    pulse_bpm,
    step_figures,
    step_words,
)
from livecont.sequence.pattern import Kind
from livecont.sitting.snapshot import Snapshot

States = dict[str, tuple[Snapshot, ScreenNotes]]


@pytest.mark.parametrize(
    "name",
    ["m2", "M2", "A2", "m3", "M3", "d4", "P4", "A4", "d5", "P5", "m6", "M6", "m7", "M7", "d7"],
)
def test_steps_have_the_names_of_intervals(name: str) -> None:
    """Source: music21, `Interval.niceName`."""
    interval = pytest.importorskip("music21").interval.Interval(name)
    degrees, semitones = interval.generic.value - 1, interval.semitones
    article = "an" if name.startswith("A") else "a"
    called = f"{article} {interval.niceName.lower()}"
    assert step_words(degrees, semitones, Kind.REAL) == f"{called} up"
    assert step_words(-degrees, -semitones, Kind.REAL) == f"{called} down"


def test_a_tonal_step_has_a_number_but_no_quality() -> None:
    assert step_words(-1, None, Kind.TONAL) == "a second down"
    assert step_words(-1, -2, Kind.TONAL) == "a second down"
    assert step_words(3, None, Kind.MIXED) == "a fourth up"


def test_steps_beyond_the_octave_are_said_as_octave_and_rest() -> None:
    assert step_words(7, 12, Kind.REAL) == "an octave up"
    assert step_words(-8, -14, Kind.REAL) == "an octave and a major second down"
    assert step_words(14, 24, Kind.REAL) == "2 octaves up"
    assert step_words(0, 1, Kind.REAL) == "a chromatic semitone up"
    assert step_words(0, -1, Kind.REAL) == "a chromatic semitone down"


def test_step_figures(states: States) -> None:
    pattern = states["understood"][0].pattern
    assert pattern is not None
    minus = "\N{MINUS SIGN}"
    assert step_figures(pattern) == f"{minus}1 degree"
    real = replace(pattern, step_degrees=-2, shift_semitones=-3)
    assert step_figures(real) == f"{minus}2 degrees, {minus}3 semitones"
    assert step_figures(replace(pattern, step_degrees=2)) == "+2 degrees"


@pytest.mark.parametrize(
    ("name", "printed"),
    [("e minor", "e minor"), ("Bb major", "B♭ major"), ("F# dorian", "f♯ dorian")],
)
def test_keys_are_printed_with_signs(name: str, printed: str) -> None:
    assert key_words(parse_key(name)) == printed


@pytest.mark.parametrize("midi", [0, 21, 59, 60, 61, 108, 127])
def test_octaves_are_those_of_scientific_notation(midi: int) -> None:
    """Source: music21, `Pitch.octave`, middle C = C4."""
    pitch = pytest.importorskip("music21").pitch.Pitch(midi=midi)
    note = parse_key("C major").spell(midi)
    digits = str.maketrans("₀₁₂₃₄₅₆₇₈₉₋", "0123456789-")
    assert int(octave_sign(note).translate(digits)) == pitch.octave
    assert letter_name(spelling("F#4")) == "F♯"


@pytest.mark.parametrize(("unit_s", "pulse"), [(2.4, 100), (1.2, 100), (9.6, 100), (0.6, 100)])
def test_the_pulse_is_one_that_can_be_walked(states: States, unit_s: float, pulse: int) -> None:
    """A link of eight quavers: its pulse stays a walking pace however long it lasts."""
    pattern = states["understood"][0].pattern
    assert pattern is not None
    assert pulse_bpm(replace(pattern, unit_s=unit_s)) in (pulse, pulse // 2)


def test_a_link_in_three_is_not_beaten_in_four(states: States) -> None:
    pattern = states["understood"][0].pattern
    assert pattern is not None
    thirds = tuple(
        replace(position, offset_units=i / 3) for i, position in enumerate(pattern.positions[:3])
    )
    assert pulse_bpm(replace(pattern, positions=thirds, unit_s=2.0)) == 90


def test_a_pattern_without_notes_has_no_pulse(states: States) -> None:
    pattern = states["understood"][0].pattern
    assert pattern is not None
    assert pulse_bpm(replace(pattern, positions=())) is None


def test_every_end_is_said_and_an_unknown_one_repeated() -> None:
    said = {end_words(reason) for reason in ("limit", "compass", "stopped", "lost", "quit")}
    assert len(said) == 5
    assert not said & {"limit", "compass", "stopped", "lost", "quit"}
    assert end_words("turn") == "turn"
