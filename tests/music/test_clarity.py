"""Clarity: what the ear follows on each instrument, and where the trade would stop."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.music.clarity import (
    CLEAR,
    LOW_LIMITS,
    clarity,
    definition,
    excess_roughness,
    low_strain,
    roughness,
    sonority_clarity,
)
from livecont.music.roughness import hutchinson_knopoff, sethares
from livecont.music.spectrum import (
    CLAVICHORD,
    HARPSICHORD,
    MODERN_PIANO,
    SPECTRA,
    Spectrum,
    partials,
)

every_instrument = pytest.mark.parametrize("spectrum", SPECTRA.values(), ids=SPECTRA)
SHAPES = {
    "one note": (0,),
    "octave": (0, 12),
    "fifth": (0, 7),
    "third": (0, 4),
    "close triad": (0, 4, 7),
    "open triad": (0, 7, 16),
    "seventh": (0, 4, 7, 10),
    "two hands": (0, 12, 28, 31, 36),
}


def on(lowest: int, shape: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(lowest + interval for interval in shape)


def lower_limit(shape: tuple[int, ...], spectrum: Spectrum) -> int:
    """The lowest note from which a shape is clear all the way up to the middle."""
    return next(
        p + 1 for p in range(60, 11, -1) if sonority_clarity(on(p, shape), spectrum) < CLEAR
    )


@every_instrument
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_the_middle_of_the_keyboard_is_clearest(spectrum: Spectrum, shape: tuple[int, ...]) -> None:
    """Common practice, no source: best in the middle, hardly in the lowest octaves."""
    curve = {
        p: sonority_clarity(on(p, shape), spectrum) for p in range(21, 109) if p + shape[-1] < 109
    }
    best = max(curve, key=lambda p: curve[p])
    centre = best + sum(shape) / len(shape)
    assert 52 <= centre <= 79  # E3 to G5
    assert curve[best] > 0.8
    lowest_octaves = [curve[p] for p in range(21, 33)]
    assert max(lowest_octaves) < 0.75 * curve[best]
    assert curve[21] < 0.4
    # it falls without a bump on the way down, and on the way up (but for crumbs)
    downwards = [curve[p] for p in range(best, 20, -1)]
    assert all(b <= a + 0.02 for a, b in pairwise(downwards))
    upwards = [curve[p] for p in range(best, max(curve) + 1)]
    assert all(b <= a + 0.02 for a, b in pairwise(upwards))


@every_instrument
def test_a_single_low_line_loses_its_pitch(spectrum: Spectrum) -> None:
    """Melodic pitch ends near 30 Hz (Pressnitzer, Patterson & Krumbholz 2001), B0."""
    assert sonority_clarity((23,), spectrum) < CLEAR
    assert 30 <= lower_limit((0,), spectrum) <= 38
    # and near 4 to 5 kHz at the top (Attneave & Olson 1971): C8 is 4.2 kHz
    assert sonority_clarity((108,), spectrum) < CLEAR < sonority_clarity((96,), spectrum)


@every_instrument
def test_low_limits_lie_where_the_trade_puts_them(spectrum: Spectrum) -> None:
    """Each table lies within an octave of ours, and ours within five semitones of their mean.

    The two tables differ from each other by up to eight semitones.
    """
    apart = []
    for interval, limits in LOW_LIMITS.items():
        ours = lower_limit((0, interval), spectrum)
        assert all(abs(ours - limit) <= 9 for limit in limits), interval
        apart.append(ours - sum(limits) / len(limits))
    assert (sum(a * a for a in apart) / len(apart)) ** 0.5 < 5


@every_instrument
def test_wider_consonances_go_lower(spectrum: Spectrum) -> None:
    """Both sources' order: thirds stop first, then fourths, then fifths, octaves last."""
    minor_third, major_third, fourth, fifth, octave = (
        lower_limit((0, n), spectrum) for n in (3, 4, 5, 7, 12)
    )
    assert minor_third >= major_third >= fourth > fifth > octave
    assert lower_limit(SHAPES["close triad"], spectrum) >= minor_third
    assert lower_limit(SHAPES["open triad"], spectrum) < minor_third


def test_a_harpsichord_clouds_earlier_than_a_piano() -> None:
    """More and stronger upper partials beat more, so its low thirds are rougher."""
    for shape in (SHAPES["third"], SHAPES["close triad"], SHAPES["fifth"]):
        low = on(40, shape)
        assert excess_roughness(low, HARPSICHORD) > excess_roughness(low, MODERN_PIANO)


def test_a_dissonance_in_the_middle_is_no_mud() -> None:
    for dissonance in ((60, 61), (62, 72, 73), (59, 65, 69, 72)):
        assert sonority_clarity(dissonance) > 0.8


def test_a_doubled_bass_is_as_definite_as_its_octave() -> None:
    assert sonority_clarity((31, 43)) > sonority_clarity((31,))


@every_instrument
@pytest.mark.parametrize("chord", [(60, 64, 67), (36, 40, 43), (28, 29), (33,), (45, 57, 58, 96)])
def test_the_tables_say_what_the_formula_says(spectrum: Spectrum, chord: tuple[int, ...]) -> None:
    notes = [partials(spectrum, pitch) for pitch in chord]
    hz = [float(x) for _, note_hz, _ in notes for x in note_hz]
    amplitude = [float(x) for _, _, note_amplitude in notes for x in note_amplitude]
    assert roughness(chord, spectrum) == pytest.approx(hutchinson_knopoff(hz, amplitude), rel=1e-9)


@every_instrument
def test_another_model_of_roughness_finds_the_same_places_muddy(spectrum: Spectrum) -> None:
    """Sethares (1993) on the same spectra: rougher an octave down, for each of the shapes."""

    def by_sethares(chord: tuple[int, ...]) -> float:
        notes = [partials(spectrum, pitch) for pitch in chord]
        return sethares([x for _, hz, _ in notes for x in hz], [x for _, _, a in notes for x in a])

    for shape in ((0, 3), (0, 4), (0, 7), (0, 4, 7)):
        for p in (36, 48, 60):
            low, high = on(p, shape), on(p + 12, shape)
            assert by_sethares(low) > by_sethares(high)
            assert roughness(low, spectrum) > roughness(high, spectrum)


@every_instrument
def test_spectra_are_plausible(spectrum: Spectrum) -> None:
    for pitch in range(21, 109):
        _, hz, amplitude = partials(spectrum, pitch)
        assert (amplitude**2).sum() == pytest.approx(1)
        assert hz[0] >= 25
    # the lowest strings' fundamentals are weak, the upper ones' strong
    _, _, low = partials(spectrum, 24)
    _, _, high = partials(spectrum, 84)
    assert low[0] < low.max()
    assert high[0] == high.max()


def test_a_node_at_the_hammer_silences_its_partial() -> None:
    number, _, _ = partials(MODERN_PIANO, 48)
    assert 8 not in number
    assert 7 in number
    assert {7, 8} <= set(partials(CLAVICHORD, 48)[0])


def test_moments_weigh_by_how_long_they_sound() -> None:
    clear, muddy = sonority_clarity((60, 64)), sonority_clarity((28, 32))
    assert clarity([(3.0, (60, 64)), (1.0, (28, 32))]) == pytest.approx((3 * clear + muddy) / 4)
    assert clarity([(3.0, (60, 64)), (9.0, ())]) == clear
    assert clarity([]) == 1.0


def test_strain_counts_only_below_the_limits() -> None:
    for interval, limits in LOW_LIMITS.items():
        assert low_strain(on(max(limits), (0, interval))) == 0
        assert low_strain(on(min(limits) - 1, (0, interval))) > 0


@given(st.sets(st.integers(21, 108), min_size=1, max_size=8))
def test_clarity_is_a_share(pitches: set[int]) -> None:
    for spectrum in SPECTRA.values():
        assert 0 <= sonority_clarity(tuple(sorted(pitches)), spectrum) <= 1
        assert all(0 < definition(pitch, spectrum) <= 1 for pitch in pitches)


@pytest.mark.parametrize(
    "sonority", [(21, 22, 23, 24, 25, 108), (0, 127), (0, 1, 2, 127), (0, 125, 126, 127)]
)
def test_keys_far_apart_have_a_clarity_too(sonority: tuple[int, ...]) -> None:
    """Moved to the middle as it is, such a sonority would reach beyond the keyboard."""
    assert 0.0 <= sonority_clarity(sonority) <= 1.0
