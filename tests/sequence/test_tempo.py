"""When the next link is due, and whether the links heard are whole."""

from __future__ import annotations

import random  # noqa: TID251  seeded
from dataclasses import replace

import pytest

from livecont.sequence.events import PlayerEvent
from tests.sequence.heard import C_MAJOR, hear, play
from tests.strategies import Chain, Model, Touch, Written, perform, wandering

MODEL = "E5 C5 D5 G4 F4 A4 B4 E4"
COPY = "D5 B4 C5 F4 E4 G4 A4 D4"
OTHER = "C4 G3 C4 E4 G4 D4 B3 G3"


def warped(events: tuple[PlayerEvent, ...], factor: float, around_s: float) -> list[PlayerEvent]:
    """Everything after a moment slower or faster."""
    return [
        replace(e, at_s=around_s + factor * (e.at_s - around_s)) if e.at_s > around_s else e
        for e in events
    ]


def test_an_even_player_is_due_a_unit_later() -> None:
    timing = hear(play(f"{MODEL} {COPY}")).stands.timing
    assert timing.start_s == pytest.approx(1.0)
    assert timing.later_start_s == pytest.approx(3.0)
    assert timing.due_s == pytest.approx(5.0)
    assert timing.earlier_unit_s == pytest.approx(2.0)
    assert timing.unit_s == pytest.approx(2.0)


@pytest.mark.parametrize("factor", [0.9, 0.95, 1.05, 1.1])
def test_the_latest_tempo_tells_the_next_link(factor: float) -> None:
    """The copy is played slower or faster throughout: the next goes on like it, nearly."""
    timing = hear(warped(play(f"{MODEL} {COPY}"), factor, 3.0)).stands.timing
    assert timing.earlier_unit_s == pytest.approx(2.0)
    assert min(2.0, 2.0 * factor) < timing.unit_s < max(2.0, 2.0 * factor)
    assert timing.due_s == pytest.approx(3.0 + 2.0 * factor, abs=0.3 * abs(factor - 1) * 2.0 + 0.01)


def test_a_last_note_played_late_moves_the_due_time_with_it() -> None:
    """Rubato at the end: the next link waits, by most of what the last note waited."""
    even = play(f"{MODEL} {COPY}")
    late = [replace(e, at_s=e.at_s + 0.06) if e.at_s > 4.74 else e for e in even]
    delay_s = hear(late).stands.timing.due_s - hear(even).stands.timing.due_s
    assert 0.04 < delay_s <= 0.06


def test_chord_spread_does_not_move_the_due_time() -> None:
    chords = "C4.E4.G4 A3.F4.A4 D4.F4.A4 B3.G4.B4"
    spread = [
        replace(e, at_s=e.at_s + 0.02 * (n % 3))
        for n, e in enumerate(sorted(play(chords, 0.5), key=lambda e: e.at_s))
    ]
    timing = hear(spread).stands.timing
    assert timing.unit_s == pytest.approx(1.0, abs=0.045)


def test_two_links_are_whole() -> None:
    assert hear(play(f"{MODEL} {COPY}")).stands.whole


def test_a_copy_that_still_lacks_a_note_is_not_whole() -> None:
    """Something else went before, so that the link might also have begun a note later."""
    heard = hear([*play(OTHER), *play(f"{MODEL} {COPY[:-3]}", start_s=3.0)])
    assert heard.prospect is None or not heard.stands.whole


def test_a_wrong_first_note_does_not_hide_where_the_player_began() -> None:
    """He began with the link, so two links are whole though its first note has no image."""
    wrong = f"F4 {MODEL[3:]} {COPY}"
    assert hear(play(wrong)).stands.whole
    heard = hear([*play(OTHER), *play(wrong, start_s=3.0)])
    assert not heard.stands.whole
    after_a_silence = hear([*play(OTHER), *play(wrong, start_s=6.0)])
    assert after_a_silence.stands.whole


@pytest.mark.parametrize("before", [0, 100, 340, 380])
def test_a_link_of_ninety_onsets_is_found_wherever_it_falls(before: int) -> None:
    """What is kept of the past is cut in strides; a long link must not be lost over one."""
    dice = random.Random(4)
    model = tuple(Written(tick=tick, staff=dice.randint(24, 38), length=1) for tick in range(90))
    chain = Chain(key=C_MAJOR, model=Model(ticks=90, notes=model), step=-1)
    first = wandering(0.0, before, seed=5)
    start_s = first[-1].at_s + 0.2 if first else 0.0
    played = perform(chain, Touch(tick_s=0.12), start_s=start_s)
    timing = hear([*first, *played.events]).stands.timing
    assert timing.start_s == pytest.approx(played.starts_s[0])
    assert timing.due_s == pytest.approx(played.starts_s[2])
