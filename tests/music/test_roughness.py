"""Roughness against published values, each with its source beside it."""

import math

import numpy as np
import pytest

from livecont.music.roughness import (
    bandwidth_glasberg,
    bandwidth_hutchinson,
    bandwidth_zwicker,
    beating,
    hutchinson_knopoff,
    pitch_hz,
    sethares,
)

# Hutchinson & Knopoff (1978), dyads on C4 of ten harmonics of amplitude 1/k, minor second to
# octave, as reprinted in the literature; from memory
DYADS_FROM_MEMORY = (
    *(0.4886, 0.2690, 0.1109, 0.0551, 0.0451, 0.0930),
    *(0.0221, 0.0843, 0.0477, 0.0998, 0.2312, 0.0014),
)


def tones(*pitches: int, harmonics: int = 11) -> tuple[list[float], list[float]]:
    """Complex tones with amplitudes 1/k."""
    hz = [float(pitch_hz(p)) * k for p in pitches for k in range(1, harmonics + 1)]
    return hz, [1 / k for _ in pitches for k in range(1, harmonics + 1)]


@pytest.mark.parametrize(
    ("pitches", "value"),
    [
        # the tests and README of the R package dycon (hutch.R), eleven harmonics
        ((60, 64, 67), 0.1202426),
        ((60, 63, 67), 0.1300830),
        ((60, 63, 66), 0.2005575),
        ((60, 61), 0.484),
    ],
)
def test_chords_are_as_rough_as_published(pitches: tuple[int, ...], value: float) -> None:
    decimals = len(str(value)) - 2
    assert round(hutchinson_knopoff(*tones(*pitches)), decimals) == value


@pytest.mark.parametrize(("pitches", "value"), [((60, 61), 0.499), ((69, 70), 0.491)])
def test_two_pure_tones_are_as_rough_as_published(pitches: tuple[int, ...], value: float) -> None:
    # the tests of the R package dycon (hutch.R), one partial each
    assert hutchinson_knopoff(*tones(*pitches, harmonics=1)) == pytest.approx(value, abs=5e-4)


def test_dyads_follow_the_published_ones() -> None:
    """The approximation of the curve differs from the table of 1978 by less than 0.02."""
    ours = [hutchinson_knopoff(*tones(60, 60 + n, harmonics=10)) for n in range(1, 13)]
    assert ours == pytest.approx(DYADS_FROM_MEMORY, abs=0.02)
    # in order, but for neighbours that the approximation cannot tell apart
    for one in range(12):
        for other in range(12):
            if DYADS_FROM_MEMORY[one] - DYADS_FROM_MEMORY[other] > 0.012:
                assert ours[one] > ours[other], (one + 1, other + 1)


def test_bandwidths_as_published() -> None:
    # hutch.R's own tests
    assert bandwidth_hutchinson(np.array([420.0, 390.0])) == pytest.approx([87.225, 83.123], 1e-4)
    # Glasberg & Moore (1990): 24.7 (4.37 f + 1), f in kHz; 132.6 Hz at 1 kHz
    assert bandwidth_glasberg(np.array([1000.0, 100.0])) == pytest.approx([132.64, 35.49], 1e-3)
    # Zwicker & Terhardt (1980): about 100 Hz below 500 Hz, 160 Hz at 1 kHz
    assert bandwidth_zwicker(np.array([100.0, 1000.0])) == pytest.approx([100.72, 162.22], 1e-3)


def test_partials_beat_most_a_quarter_of_a_band_apart() -> None:
    # Plomp & Levelt (1965): the maximum lies at about a quarter of the critical bandwidth
    bands = np.linspace(0, 2, 401)
    curve = beating(bands)
    assert bands[curve.argmax()] == pytest.approx(0.25)
    assert curve[0] == 0
    assert not curve[bands > 1.2].any()
    # hutch.R's own tests
    assert beating(np.array([1.0, 0.5, 1.5])) == pytest.approx([0.0397, 0.5413, 0], abs=5e-5)


@pytest.mark.parametrize(
    ("hz", "amplitudes", "times"),
    [
        # the tests of the R package dycon (sethares), as multiples of 440 and 460 Hz together
        ((440, 460, 480), (1, 1, 1), 2.9194),
        ((440, 460, 480), (1, 2, 3), 3.9161),
        ((440, 460, 480), (3, 2, 1), 3.9194),
        ((300, 250, 275, 425), (1.5, 2, 9, 4), 4.8657),
    ],
)
def test_sethares_as_published(
    hz: tuple[float, ...], amplitudes: tuple[float, ...], times: float
) -> None:
    unit = sethares((440, 460), (1, 1))
    assert sethares(hz, amplitudes) / unit == pytest.approx(times, abs=1e-2)


def test_sethares_peaks_where_its_two_decays_cross() -> None:
    # closed form: the derivative is nought at ln(5.75/3.51) / (5.75 - 3.51)
    apart = math.log(5.75 / 3.51) / 2.24
    at_500 = 500 + apart * (0.0207 * 500 + 18.96) / 0.24
    values = [sethares((500, at_500 + d), (1, 1)) for d in (-2, 0, 2)]
    assert values[1] == max(values)
    assert values[1] == pytest.approx(5 * 0.179756, rel=1e-5)


def test_both_models_order_the_dyads_alike() -> None:
    ours = [hutchinson_knopoff(*tones(60, 60 + n)) for n in range(1, 13)]
    other = [sethares(*tones(60, 60 + n)) for n in range(1, 13)]
    one, two = (np.argsort(np.argsort(values)) for values in (ours, other))
    spearman = float(np.corrcoef(one, two)[0, 1])
    assert spearman > 0.75


@pytest.mark.parametrize("pitches", [(48, 52, 55), (40, 47), (60, 61, 62)])
def test_bandwidths_of_other_authors_agree_on_where_it_is_rough(pitches: tuple[int, ...]) -> None:
    up = tuple(p + 12 for p in pitches)
    for bandwidth in (bandwidth_hutchinson, bandwidth_glasberg, bandwidth_zwicker):
        low = hutchinson_knopoff(*tones(*pitches), bandwidth)
        assert low > hutchinson_knopoff(*tones(*up), bandwidth)
