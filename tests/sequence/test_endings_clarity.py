"""The clarity of whole links, and how many are left."""

from __future__ import annotations

import pytest

from livecont.music.clarity import CLEAR, sonority_clarity
from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.music.spectrum import HARPSICHORD, MODERN_PIANO, SPECTRA, Spectrum
from livecont.sequence.chain import Chain
from livecont.sequence.endings import Limit
from livecont.sequence.endings_clarity import (
    Reach,
    clarity_of,
    clear,
    falls_short,
    moments_of,
    reach,
)
from livecont.sequence.pattern import Link, LinkNote, PedalMark
from tests.sequence.textures import PIANO, TEXTURES, Texture, even, pattern_of

C_MAJOR = parse_key("C major")
every_instrument = pytest.mark.parametrize("spectrum", SPECTRA.values(), ids=SPECTRA)


def link_of(*notes: tuple[float, float, str], pedals: tuple[PedalMark, ...] = ()) -> Link:
    return Link(
        number=3,
        unit_s=4.0,
        pedals=pedals,
        notes=tuple(
            LinkNote(
                offset_s=offset, duration_s=length, spelling=spelling(name), velocity=70, channel=0
            )
            for offset, length, names in notes
            for name in names.split()
        ),
    )


def test_moments_are_what_sounds_together_and_how_long() -> None:
    link = link_of((0, 2, "C4 E4"), (1, 2, "G4"))
    assert list(moments_of(link)) == [(1, (60, 64)), (1, (60, 64, 67)), (1, (67,))]


def test_a_rest_is_a_moment_too() -> None:
    assert list(moments_of(link_of((0, 1, "C4"), (2, 1, "D4"))))[1] == (1, ())


def test_notes_ring_in_the_pedal() -> None:
    down = PedalMark(offset_units=0.1, controller=64, value=127)
    up = PedalMark(offset_units=0.75, controller=64, value=0)
    link = link_of((0, 1, "C4"), (2, 0.5, "D4"), pedals=(down, up))
    assert list(moments_of(link)) == [(2, (60,)), (1, (60, 62))]
    # a pedal that is left down is down when the next link begins
    assert list(moments_of(link_of((0, 1, "C4"), pedals=(down,)))) == [(4, (60,))]
    # other pedals hold nothing
    soft = PedalMark(offset_units=0.0, controller=67, value=127)
    assert list(moments_of(link_of((0, 1, "C4"), pedals=(soft,)))) == [(1, (60,))]


def test_the_pedal_makes_mud() -> None:
    notes = [
        (i / 2, 0.45, name)
        for i, name in enumerate(["C2", "D2", "E2", "F2", "G2", "A2", "B2", "C3"])
    ]
    down = PedalMark(offset_units=0.0, controller=64, value=127)
    assert clarity_of(link_of(*notes, pedals=(down,))) < 0.7 * clarity_of(link_of(*notes))


def test_a_link_is_as_clear_as_its_sonorities_by_their_length() -> None:
    link = link_of((0, 3, "C4 E4"), (3, 1, "C2 E2"))
    wanted = (3 * sonority_clarity((60, 64)) + sonority_clarity((36, 40))) / 4
    assert clarity_of(link) == pytest.approx(wanted)


@every_instrument
@pytest.mark.parametrize("name", TEXTURES)
def test_every_texture_is_clear_in_the_middle_and_not_at_the_bottom(
    name: str, spectrum: Spectrum
) -> None:
    """Common practice, no source: the ear follows best in the middle of the keyboard."""
    curve = []
    for octaves in (-2, -1, 0, 1, 2, 3):
        pattern = pattern_of(TEXTURES[name], C_MAJOR, octaves=octaves)
        link = next(iter(Chain(pattern=pattern, compass=PIANO, spectrum=spectrum).plain()), None)
        if link is not None:
            curve.append((link.clarity, link.lowest))
            assert clear(link, spectrum) == (clarity_of(link, spectrum) >= CLEAR)
    best = max(curve)
    assert best[0] is not None
    assert best[0] > 0.75
    assert 40 <= best[1] <= 66
    lowest = min(curve, key=lambda one: one[1])
    assert lowest[0] is not None
    assert lowest[0] < 0.8 * best[0]


@every_instrument
def test_close_chords_stop_being_clear_where_the_trade_would_stop(spectrum: Spectrum) -> None:
    """Root position triads falling by step: clear to about B2 to Bb2, where low thirds end."""
    texture = Texture(model=even(2, "E4+G4+B4 D4+F4+A4"), step=-2, cells=2)
    chain = Chain(pattern=pattern_of(texture, C_MAJOR), compass=PIANO, spectrum=spectrum)
    links = list(chain.plain())
    counted = reach(links)
    assert 0 < counted.clear < counted.compass
    assert 43 <= links[counted.clear - 1].lowest <= 50


@every_instrument
@pytest.mark.parametrize("step", [-1, 1])
def test_the_clear_limit_is_where_the_chain_stops(spectrum: Spectrum, step: int) -> None:
    texture = Texture(model=TEXTURES["four voices"].model, step=step, cells=2)
    pattern = pattern_of(texture, C_MAJOR)
    plain = list(Chain(pattern=pattern, compass=PIANO, spectrum=spectrum).plain())
    counted = reach(plain)
    stopped = Chain(pattern=pattern, compass=PIANO, spectrum=spectrum, limit=Limit.CLEAR).links()
    assert len(list(stopped)) == counted.clear
    assert counted.compass == len(plain)
    assert 0 < counted.clear < counted.compass


def test_a_harpsichord_has_fewer_clear_links_downwards() -> None:
    pattern = pattern_of(TEXTURES["four voices"], C_MAJOR)
    counts = {
        spectrum.name: reach(Chain(pattern=pattern, compass=PIANO, spectrum=spectrum).plain())
        for spectrum in (HARPSICHORD, MODERN_PIANO)
    }
    assert counts["harpsichord"].clear < counts["modern-piano"].clear


def test_a_chain_on_its_way_out_of_the_mud_counts() -> None:
    def at(*clarities: float) -> Reach:
        return reach(
            Link(number=n, unit_s=1.0, notes=(), pedals=(), clarity=value)
            for n, value in enumerate(clarities, 3)
        )

    assert at(0.9, 0.6, 0.4, 0.3) == Reach(clear=2, compass=4)
    assert at(0.4, 0.3) == Reach(clear=0, compass=2)
    assert at(0.9, 0.4, 0.6) == Reach(clear=1, compass=3)
    assert at() == Reach(clear=0, compass=0)
    assert not falls_short(0.3, 0.2)
    assert falls_short(0.2, 0.3)
    assert not falls_short(None, None)


def test_without_an_instrument_nothing_is_worked_out() -> None:
    chain = Chain(pattern=pattern_of(TEXTURES["two voices"], C_MAJOR), compass=PIANO)
    assert all(link.clarity is None for link in chain.links())
