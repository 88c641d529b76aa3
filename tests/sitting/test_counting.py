"""How many links are left by the step, clear and in the compass, whatever the limit and ending."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.spectrum import HARPSICHORD, MODERN_PIANO, Spectrum
from livecont.sequence.endings import Ending, Limit
from livecont.sequence.endings_clarity import Reach
from livecont.sitting.carrying import chain_of
from livecont.sitting.events import Ended, Settings, Sound
from livecont.sitting.snapshot import Phase
from livecont.sitting.virtual import run
from tests.sitting.material import DUE_S, SETTINGS, UNIT_S, played, seated

CLEARLY = replace(SETTINGS, spectrum=MODERN_PIANO)


def by_the_limits(settings: Settings) -> Reach:
    """The counts after link 3, as chains with these limits have them."""
    pattern = seated(settings).until(DUE_S - 0.01).pattern
    assert pattern is not None
    free = replace(settings, most_links=None, ending=Ending.STOP)
    clear = list(chain_of(replace(free, limit=Limit.CLEAR), pattern).links())
    return Reach(clear=len(clear) - 1, compass=len(list(chain_of(free, pattern).links())) - 1)


@pytest.mark.parametrize("spectrum", [MODERN_PIANO, HARPSICHORD])
@pytest.mark.parametrize("ending", list(Ending))
@pytest.mark.parametrize("most_links", [None, 3])
def test_both_counts_are_those_of_the_limits(
    spectrum: Spectrum, ending: Ending, most_links: int | None
) -> None:
    settings = replace(CLEARLY, most_links=most_links, ending=ending, spectrum=spectrum)
    seen = seated(settings).until(DUE_S + 0.5)
    assert seen.phase is Phase.SOUNDING
    assert seen.reach == by_the_limits(settings)
    assert seen.reach is not None
    assert 0 < seen.reach.clear < seen.reach.compass


def test_the_counts_go_down_link_by_link_and_are_there_before_anything_sounds() -> None:
    desk = seated(CLEARLY)
    before = desk.until(DUE_S - 0.03).reach
    assert before is not None
    for number in range(3):
        assert desk.until(DUE_S + number * UNIT_S + 0.1).reach == Reach(
            clear=before.clear - number, compass=before.compass - number
        )
    assert desk.until(DUE_S + 3 * UNIT_S + 0.1).reach is None


def test_where_the_chain_turns_back_there_is_nothing_to_count() -> None:
    desk = seated(replace(CLEARLY, most_links=1, ending=Ending.TURN))
    assert desk.until(DUE_S + 0.1).reach is not None
    assert desk.until(DUE_S + UNIT_S + 0.1).reach is None


def test_without_a_spectrum_every_link_with_keys_is_taken_for_clear() -> None:
    reach = seated(SETTINGS).until(DUE_S + 0.1).reach
    assert reach is not None
    assert reach.clear == reach.compass


def test_where_nobody_looks_nothing_is_counted() -> None:
    desk = seated(replace(CLEARLY, draws_ahead=False))
    assert desk.until(DUE_S + 0.1).reach is None


@pytest.mark.parametrize(("highest", "lowest", "reason"), [(108, 21, "clear"), (84, 48, "compass")])
def test_a_chain_says_whether_the_ear_or_the_keys_ended_it(
    highest: int, lowest: int, reason: str
) -> None:
    compass = replace(SETTINGS.compass, lowest=lowest, highest=highest)
    settings = replace(CLEARLY, most_links=None, limit=Limit.CLEAR, compass=compass)
    assert [e.reason for e in run(settings, played()) if isinstance(e, Ended)] == [reason]
    desk = seated(settings)
    desk.until(60.0)
    assert desk.seen().last_end == reason


def test_in_virtual_time_a_clear_limit_is_that_of_the_instrument() -> None:
    """The instrument chosen, as in life, not a modern piano for all."""
    for spectrum in (MODERN_PIANO, HARPSICHORD):
        settings = replace(CLEARLY, most_links=None, limit=Limit.CLEAR, spectrum=spectrum)
        desk = seated(settings)
        desk.until(60.0)
        sounded = [e.link.number for e in run(settings, played()) if isinstance(e, Sound)]
        assert sounded[-1] == desk.all(Sound)[-1].link.number


def test_a_chain_that_turned_says_that_it_is_back() -> None:
    settings = replace(CLEARLY, most_links=2, ending=Ending.TURN)
    assert [e.reason for e in run(settings, played()) if isinstance(e, Ended)] == ["home"]
