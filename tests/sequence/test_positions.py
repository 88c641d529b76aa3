"""The notes of a link as two links tell them together: partners, slips, leaps, touch."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.pitch import spelling
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sequence.pattern import Position
from tests.sequence.heard import hear, named, play
from tests.strategies import in_time

MODEL = "E5 C5 D5 G4 F4 A4 B4 E4"
COPY = "D5 B4 C5 F4 E4 G4 A4 D4"
IOI_S = 0.25


def positions(events: tuple[PlayerEvent, ...]) -> tuple[Position, ...]:
    return hear(events).pattern().positions


def pairs(events: tuple[PlayerEvent, ...]) -> list[str]:
    return [named(position.heard) for position in positions(events)]


def struck(events: tuple[PlayerEvent, ...], at: int) -> KeyDown:
    """The key that goes down at an onset, counted over both links."""
    return [event for event in events if isinstance(event, KeyDown)][at]


def plus(
    events: tuple[PlayerEvent, ...], at_s: float, name: str, velocity: int = 70
) -> tuple[PlayerEvent, ...]:
    pitch = spelling(name).midi
    down = KeyDown(at_s=at_s, pitch=pitch, velocity=velocity)
    return in_time([*events, down, KeyUp(at_s=at_s + 0.1, pitch=pitch)])


TWO_LINKS = play(f"{MODEL} {COPY}", IOI_S)
PLAIN = [f"{a} {b}" for a, b in zip(MODEL.split(), COPY.split(), strict=True)]


def test_every_note_has_its_image() -> None:
    assert pairs(TWO_LINKS) == PLAIN
    assert [p.offset_units for p in positions(TWO_LINKS)] == pytest.approx(
        [n / 8 for n in range(8)]
    )


def test_a_chord_is_paired_note_by_note() -> None:
    events = play("C4.E4.G4 A3.F4.A4 D4.F4.A4 B3.G4.B4", 0.5)
    assert pairs(events) == ["C4 D4", "E4 F4", "G4 A4", "A3 B3", "F4 G4", "A4 B4"]


@pytest.mark.parametrize(("link", "lone"), [(0, "G3 -"), (1, "- G3")], ids=["model", "copy"])
def test_a_note_that_one_link_has_alone_has_no_partner(link: int, lone: str) -> None:
    events = plus(TWO_LINKS, 1.0 + IOI_S * (2 + 8 * link), "G3")
    found = pairs(events)
    assert lone in found
    assert sorted(set(found) - {lone}) == sorted(PLAIN)


def test_a_brushed_neighbour_key_in_the_copy_is_left_out() -> None:
    """A semitone beside the note meant, with it and no louder: a slip of the finger."""
    meant = struck(TWO_LINKS, 10)
    assert pairs(plus(TWO_LINKS, meant.at_s + 0.01, "C#5", velocity=50)) == PLAIN


def test_a_note_far_softer_than_the_rest_is_left_out() -> None:
    assert pairs(plus(TWO_LINKS, struck(TWO_LINKS, 10).at_s, "E3", velocity=20)) == PLAIN
    assert "- E3" in pairs(plus(TWO_LINKS, struck(TWO_LINKS, 10).at_s, "E3", velocity=60))


def test_a_part_that_leaps_an_octave_is_taken_as_if_it_had_not() -> None:
    """The bass has no room left and goes up an octave: there it is, and goes on from there."""
    model = "C5.A2 E5 D5 F5 C5 A5 G5 B4"
    copy = "B4.G3 D5 C5 E5 B4 G5 F5 A4"
    heard = hear(play(f"{model} | {copy}", IOI_S))
    found = [named(position.heard) for position in heard.pattern().positions]
    assert found[:3] == ["A3 G3", "C5 B4", "E5 D5"]
    assert heard.names().startswith("F3 A4 C5")


def test_how_long_a_key_is_held_is_the_mean_of_both_links() -> None:
    events = list(TWO_LINKS)
    for at, held_s in ((3, 0.10), (11, 0.20)):
        down = struck(TWO_LINKS, at)
        (index,) = (
            i
            for i, event in enumerate(events)
            if isinstance(event, KeyUp)
            and event.pitch == down.pitch
            and 0 < event.at_s - down.at_s < IOI_S
        )
        events[index] = replace(events[index], at_s=down.at_s + held_s)
    found = positions(in_time(events))[3]
    assert found.articulation == pytest.approx(0.15 / (8 * IOI_S))


def test_a_key_still_held_counts_up_to_now() -> None:
    last = struck(TWO_LINKS, 15)
    events = tuple(e for e in TWO_LINKS if not (isinstance(e, KeyUp) and e.at_s > last.at_s))
    heard = hear(events)
    pattern = heard.listener.pattern(heard.stands, last.at_s + 0.3)
    held = [p for p in pattern.positions if named(p.heard) == "E4 D4"]
    assert held[0].articulation == pytest.approx((0.8 * IOI_S + 0.3) / 2 / (8 * IOI_S), rel=1e-3)


def test_touch_is_the_mean_of_both_links_and_half_of_the_spread() -> None:
    model = play("C4.E4.G4 A3.F4.A4", 0.5, velocity=60)
    copy = play("D4.F4.A4 B3.G4.B4", 0.5, start_s=2.0, velocity=80)
    late = [
        replace(e, at_s=e.at_s + 0.02) if e.pitch in (67, 69) and isinstance(e, KeyDown) else e
        for e in (*model, *copy)
        if isinstance(e, KeyDown | KeyUp)
    ]
    found = {named(p.heard): p for p in positions(in_time(late))}
    assert {p.velocity for p in found.values()} == {70}
    assert found["C4 D4"].offset_units == pytest.approx(0.0)
    assert found["G4 A4"].offset_units == pytest.approx(0.01, abs=1e-3)  # 20 ms in 1 s, halved


def test_a_channel_stays_with_its_part() -> None:
    events = tuple(
        replace(e, channel=3) if isinstance(e, KeyDown | KeyUp) and e.pitch < 66 else e
        for e in TWO_LINKS
    )
    for position in positions(events):
        later = position.heard[1]
        assert later is not None
        assert position.channel == (3 if later.midi < 66 else 0)
