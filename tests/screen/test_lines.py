"""A sitting told in plain lines."""

from __future__ import annotations

from dataclasses import replace

from livecont.music.key import parse_key
from livecont.screen import ScreenNotes, plain_lines
from livecont.sitting.events import Fullness
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
    counts = ", 92 % clear (16 clear, 20 in compass)"
    assert plain_lines(ready, first) == (
        f"livecont takes over: link 3 sounds, 20 links left{counts}",
    )
    sixth = replace(states["sounding-sixth"][0], reach=None)
    assert plain_lines(first, sixth) == ("link 6 sounds, 17 links left, 95 % clear",)
    assert sixth.sounding is not None
    unrated = replace(sixth, sounding=replace(sixth.sounding, clarity=None))
    one = replace(unrated, links_left=1)
    assert plain_lines(first, one) == ("link 6 sounds, 1 link left",)
    endless = plain_lines(first, states["sounding-endless"][0])
    assert endless[0].startswith("link 5 sounds, no end in sight, ")


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


def test_what_it_is_once_it_is_known(states: States) -> None:
    before, after = states["sounding-sixth"][0], states["sounding-explained"][0]
    assert plain_lines(before, after) == (
        "it is D2 (A3/D4): seventh chords; it falls a second, by way of a rising third",
        "main notes of link 1: B D over G B",
        "chords of link 1: III v; of the next: iio iv",
    )
    assert plain_lines(after, replace(after, at_s=after.at_s + 0.01)) == ()


def test_doubt_is_told_with_what_else_it_may_be(states: States) -> None:
    told = plain_lines(states["sounding-chords-rising"][0], states["sounding-not-sure"][0])
    assert told[0].startswith("it is A2 (A5/D4): ascending fifths; ")
    assert told[1] == "not sure: the lower line could be a pedal point; or A2 (A2), A2 (D3/A4)"


def test_a_real_chain_says_where_it_arrives_and_when_it_closes(states: States) -> None:
    before, real = states["sounding-sixth"][0], states["sounding-real"][0]
    assert plain_lines(before, real) == (
        "at your wish, from link 5 on: a major second down, -1 degree, -2 semitones, real, "
        "2.40 s a link, pulse 100, 92 % sure, 16 links left",
        "it leads through e d c bb g# f#, e again after 6 links",
        "link 7 sounds, 16 links left, in bb minor, 95 % clear (12 clear, 16 in compass)",
    )


def test_a_surprise_is_told_once(states: States) -> None:
    before = replace(states["sounding-after-a-surprise"][0], changed=None)
    after = states["sounding-after-a-surprise"][0]
    told = ("link 5 was changed on purpose: F# instead of F",)
    assert plain_lines(before, after) == told
    assert plain_lines(after, replace(after, at_s=after.at_s + 0.01)) == ()
    ended = replace(states["listening-after-a-surprise"][0])
    assert plain_lines(before, ended) == (
        "link 9 was changed on purpose: the upper hand an octave lower",
        "the chain ended: at its limit",
    )


def test_the_main_notes_are_switched_on_and_off(states: States) -> None:
    whole = states["sounding-explained"][0]
    main = replace(whole, fullness=Fullness.REDUCTION)
    assert plain_lines(whole, main) == ("only main notes sound",)
    assert plain_lines(main, whole) == ("all notes sound",)
