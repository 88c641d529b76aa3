"""A sitting told in plain lines."""

from __future__ import annotations

from dataclasses import replace

from livecont.music.key import parse_key
from livecont.screen import ScreenNotes, plain_lines
from livecont.sitting.snapshot import Phase, Snapshot

States = dict[str, tuple[Snapshot, ScreenNotes]]


def listening(states: States) -> Snapshot:
    return states["listening-key-estimated"][0]


def test_the_beginning(states: States) -> None:
    nothing = states["listening-nothing-known"][0]
    assert plain_lines(None, nothing) == ("listening: play two links of a sequence",)
    assert plain_lines(None, listening(states)) == (
        "listening: play two links of a sequence",
        "key: e minor (estimated)",
    )


def test_nothing_new_nothing_said(state: tuple[Snapshot, ScreenNotes]) -> None:
    assert plain_lines(state[0], state[0]) == ()
    assert plain_lines(state[0], replace(state[0], at_s=state[0].at_s + 0.01, held=())) == ()


def test_another_key(states: States) -> None:
    before = listening(states)
    after = replace(before, key=parse_key("Bb major"), key_chosen=True)
    assert plain_lines(before, after) == ("key: Bb major",)


def test_understood(states: States) -> None:
    assert plain_lines(replace(listening(states), key_chosen=True), states["understood"][0]) == (
        "understood: a second down, -1 degree, tonal, 2.40 s a link, pulse 100, 92 % sure, "
        "21 links left",
    )


def test_a_tempo_that_breathes_is_no_news(states: States) -> None:
    before = states["understood"][0]
    assert before.pattern is not None
    slower = replace(before.pattern, unit_s=before.pattern.unit_s * 1.05)
    assert plain_lines(before, replace(before, pattern=slower)) == ()
    other = replace(before.pattern, unit_s=before.pattern.unit_s * 2)
    assert len(plain_lines(before, replace(before, pattern=other))) == 1


def test_taking_over_and_going_on(states: States) -> None:
    ready, first = states["ready-at-once"][0], states["sounding-first"][0]
    assert plain_lines(ready, first) == ("livecont takes over: link 3 sounds, 20 links left",)
    sixth = states["sounding-sixth"][0]
    assert plain_lines(first, sixth) == ("link 6 sounds, 17 links left",)
    one = replace(sixth, links_left=1)
    assert plain_lines(first, one) == ("link 6 sounds, 1 link left",)
    assert plain_lines(first, states["sounding-endless"][0]) == ("link 5 sounds, no end in sight",)


def test_giving_way_is_told_even_where_the_next_link_waits_already(states: States) -> None:
    sounding = states["sounding-first"][0]
    said = ("livecont gave way: you play on",)
    assert plain_lines(sounding, states["listening-after-give-way"][0]) == said
    assert plain_lines(sounding, states["ready-at-once"][0]) == said


def test_ends(states: States) -> None:
    sounding = states["sounding-last"][0]
    after = states["listening-after-compass-end"][0]
    assert plain_lines(sounding, after) == ("the chain ended: at the end of the compass",)
    over = replace(after, phase=Phase.ENDED, last_end="quit")
    assert plain_lines(sounding, over) == ("the chain ended: you left", "the sitting is over")


def test_lines_are_ascii(state: tuple[Snapshot, ScreenNotes]) -> None:
    lines = plain_lines(None, state[0])
    assert lines
    assert all(line.isascii() and line.isprintable() for line in lines)
