"""Chains made up at random are heard as they were written, and carried on note for note."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.sequence import chain as ours
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sequence.pattern import Pattern
from livecont.sitting.events import Settings
from livecont.sitting.virtual import run, take_overs
from tests.sequence.heard import Heard, hear
from tests.strategies import (
    DEADPAN,
    OCTAVE,
    PIANO,
    Chain,
    Performance,
    Touch,
    hands,
    perform,
    real_chains,
    tempi,
    tonal_chains,
    wandering,
)

UNIT_SHARE = 0.06  # a unit is found if it is within 6 % of what was played
SPREAD_S = 0.03
# accidentals are chosen by rules that may bend a note of the scale (`sequence.continuation`): of
# links without any foreign note, so many at least are to stay entirely in the key
KEPT_IN_KEY = 0.97
# a chromatic link copied exactly leaves nothing to choose
KEPT_EXACT = 0.9


def is_recovered(heard: Heard, chain: Chain, played: Performance) -> bool:
    """Whether what stands is the chain that was played: its step, its unit, when it is due."""
    stands = heard.prospect
    if stands is None:
        return False
    first_s, second_s = (b - a for a, b in zip(played.starts_s, played.starts_s[1:], strict=False))
    slack_s = UNIT_SHARE * second_s + SPREAD_S
    return (
        stands.alignment.step_degrees == chain.step
        and min(abs(stands.timing.unit_s - unit_s) for unit_s in (first_s, second_s)) <= slack_s
        and abs(stands.timing.due_s - played.starts_s[2]) <= slack_s
        and stands.whole
    )


def links_of(pattern: Pattern, chain: Chain, most: int) -> list[list[tuple[int, int, int]]]:
    """The next links as (tick, staff place, MIDI pitch), in order."""
    links = ours.Chain(pattern=pattern, compass=PIANO, most_links=most).links()
    ticks = chain.model.ticks
    return [
        sorted(
            (round(note.offset_s / link.unit_s * ticks), note.spelling.staff, note.pitch)
            for note in link.notes
        )
        for link in links
    ]


def as_written(chain: Chain, number: int) -> list[tuple[int, int, int]]:
    return sorted((tick, spelled.staff, spelled.midi) for tick, spelled in chain.link(number))


def test_a_tonal_chain_is_carried_on_note_for_note() -> None:
    in_key: list[bool] = []

    @settings(max_examples=100)
    @given(tonal_chains(), tempi())
    def each(chain: Chain, tick_s: float) -> None:
        played = perform(chain, Touch(tick_s=tick_s))
        heard = hear(played.events, chain.key)
        assert is_recovered(heard, chain, played)
        for number, link in enumerate(links_of(heard.pattern(), chain, most=2), 3):
            wanted = as_written(chain, number)
            assert [note[:2] for note in link] == [note[:2] for note in wanted]
            in_key.append(link == wanted)

    each()
    assert sum(in_key) >= KEPT_IN_KEY * len(in_key)


def test_a_real_chain_is_carried_on_note_for_note() -> None:
    """Where no key holds the link and each copy is exact, so is the next."""
    exact: list[bool] = []

    @settings(max_examples=60)
    @given(real_chains(), tempi())
    def each(chain: Chain, tick_s: float) -> None:
        played = perform(chain, Touch(tick_s=tick_s))
        heard = hear(played.events, chain.key)
        assert is_recovered(heard, chain, played)
        (link,) = links_of(heard.pattern(), chain, most=1)
        exact.append([note[::2] for note in link] == [note[::2] for note in as_written(chain, 3)])

    each()
    assert sum(exact) >= KEPT_EXACT * len(exact)


@settings(max_examples=100)
@given(tonal_chains(), hands())
def test_people_play_unevenly_and_are_understood(chain: Chain, touch: Touch) -> None:
    played = perform(chain, touch)
    assert is_recovered(hear(played.events, chain.key), chain, played)


@settings(max_examples=30)
@given(tonal_chains("major", "minor", "dorian"), st.sampled_from([3, 4, 5]), hands())
def test_more_than_two_links_are_heard_as_one_chain(chain: Chain, links: int, touch: Touch) -> None:
    played = perform(chain, touch, links=links)
    heard = hear(played.events, chain.key)
    assert heard.stands.alignment.step_degrees == chain.step
    assert heard.pattern().links_heard == links
    assert heard.stands.timing.unit_s == pytest.approx(
        played.starts_s[-1] - played.starts_s[-2], rel=2 * UNIT_SHARE, abs=SPREAD_S
    )


@settings(max_examples=30)
@given(tonal_chains(), st.sampled_from([0.5, 0.8, 1.25, 2.0]))
def test_a_slower_or_faster_chain_is_the_same_chain(chain: Chain, factor: float) -> None:
    stands = hear(perform(chain).events, chain.key).stands
    scaled = hear(
        perform(chain, replace(DEADPAN, tick_s=factor * DEADPAN.tick_s)).events, chain.key
    )
    assert scaled.stands.alignment.step_degrees == stands.alignment.step_degrees
    assert scaled.stands.alignment.lag == stands.alignment.lag
    assert scaled.stands.timing.unit_s == pytest.approx(factor * stands.timing.unit_s)
    assert scaled.names() == hear(perform(chain).events, chain.key).names()


@settings(max_examples=30)
@given(tonal_chains(), st.sampled_from([-1, 1]))
def test_an_octave_moves_the_pitches_and_not_the_step(chain: Chain, octaves: int) -> None:
    plain = hear(perform(chain).events, chain.key)
    events = tuple(_moved(event, 12 * octaves) for event in perform(chain).events)
    moved = hear(events, chain.key)
    assert moved.stands.alignment.step_degrees == plain.stands.alignment.step_degrees
    assert moved.stands.timing == plain.stands.timing
    assert [p.heard for p in moved.pattern().positions] == [
        tuple(s and replace(s, staff=s.staff + OCTAVE * octaves) for s in p.heard)
        for p in plain.pattern().positions
    ]


def _moved(event: PlayerEvent, semitones: int) -> PlayerEvent:
    assert isinstance(event, KeyDown | KeyUp)
    return replace(event, pitch=event.pitch + semitones)


@settings(max_examples=10)
@given(tonal_chains(), st.integers(0, 2**16), st.integers(0, 2**16))
def test_what_was_played_long_before_does_not_matter(chain: Chain, one: int, other: int) -> None:
    """Beyond the longest lag nothing is compared: 128 groups of onsets."""
    between = wandering(100.0, 140, seed=7)
    played = perform(chain, start_s=between[-1].at_s + 0.2).events
    heard = [
        hear([*wandering(0.0, 60 + seed % 50, seed), *between, *played], chain.key)
        for seed in (one, other)
    ]
    assert heard[0].stands.alignment.step_degrees == chain.step
    assert heard[0].stands.alignment.lag == heard[1].stands.alignment.lag
    assert heard[0].stands.timing == heard[1].stands.timing
    assert heard[0].pattern() == heard[1].pattern()


@settings(max_examples=30)
@given(tonal_chains(), hands())
def test_the_sitting_sounds_the_chain_when_it_is_due(chain: Chain, touch: Touch) -> None:
    played = perform(chain, touch)
    chosen = Settings(key=chain.key, compass=PIANO, most_links=2)
    took = take_overs(run(chosen, played.events))[-1]
    slack_s = UNIT_SHARE * (played.starts_s[2] - played.starts_s[1]) + SPREAD_S
    assert took.start_s == pytest.approx(played.starts_s[2], abs=slack_s)
    assert took.pattern.step_degrees == chain.step
    assert took.link.number == 3
    assert sorted(note.spelling.staff for note in took.link.notes) == sorted(
        spelled.staff for _, spelled in chain.link(3)
    )
