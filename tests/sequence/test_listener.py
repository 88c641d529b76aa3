"""The listener as a whole: what it keeps, what it forgets, and the key it goes by."""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator
from dataclasses import replace
from types import FunctionType, ModuleType

import numpy as np
import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.events import SUSTAIN, KeyDown, KeyUp, PedalMove
from livecont.sequence.listener import Listener
from tests.sequence.heard import C_MAJOR, hear, named, play
from tests.strategies import in_time, wandering

MODEL = "E5 C5 D5 G4 F4 A4 B4 E4"
COPY = "D5 B4 C5 F4 E4 G4 A4 D4"
TWO_LINKS = f"{MODEL} {COPY}"


def test_key_ups_and_pedals_tell_nothing_by_themselves() -> None:
    listener = Listener(C_MAJOR)
    hear(play(TWO_LINKS), listener=listener)
    assert listener.hear(KeyUp(at_s=9.0, pitch=62)) is None
    assert listener.hear(PedalMove(at_s=9.0, controller=SUSTAIN, value=100)) is None


def test_the_keys_that_are_down_and_the_latest_notes() -> None:
    listener = Listener(parse_key("Ab major"))
    for at, name in enumerate(("C4", "Eb4", "Ab4", "Db5")):
        listener.hear(KeyDown(at_s=float(at), pitch=spelling(name).midi, velocity=60))
    listener.hear(KeyUp(at_s=4.0, pitch=spelling("Eb4").midi))
    assert listener.held == (60, 68, 73)
    assert named(listener.latest(3)) == "Eb4 Ab4 Db5"
    assert named(listener.latest(9)) == "C4 Eb4 Ab4 Db5"
    assert listener.group_count == 4


def test_what_was_forgotten_is_not_compared_with_what_comes() -> None:
    listener = Listener(C_MAJOR)
    hear(play(MODEL), listener=listener)
    listener.forget()
    assert (listener.group_count, listener.held, listener.latest(5)) == (0, (), ())
    assert hear(play(COPY, start_s=3.0), listener=listener).prospect is None
    listener.forget()
    # and it hears as a new one does
    heard = hear(play(TWO_LINKS, start_s=9.0), listener=listener)
    assert heard.pattern() == hear(play(TWO_LINKS, start_s=9.0)).pattern()


def test_forgetting_keeps_the_key() -> None:
    listener = Listener(None)
    hear(play("G4 A4 B4 C5 D5 F#5 G5 D5 B4 G4"), None, listener)
    listener.forget()
    assert listener.key == parse_key("G major")


def test_a_chosen_key_is_kept_and_an_estimate_follows_the_playing() -> None:
    chosen, guessing = Listener(parse_key("Db major")), Listener(None)
    in_g = play("G4 A4 B4 C5 D5 F#5 G5 D5 B4 G4 D4 G4")
    for listener in (chosen, guessing):
        hear(in_g, listener=listener)
    assert chosen.key == parse_key("Db major")
    assert guessing.key == parse_key("G major")
    far = "Eb4 F4 G4 Ab4 Bb4 D5 Eb5 Bb4 G4 Eb4 Bb3 Eb4"
    hear(play(" ".join([far] * 6), start_s=20.0), listener=guessing)
    assert guessing.key == parse_key("Eb major")


def test_no_key_before_there_is_anything_to_go_by() -> None:
    listener = Listener(None)
    assert listener.key is None
    hear(play("C4 E4 G4"), listener=listener)
    assert listener.key is None
    hear(play("C5", start_s=3.0), listener=listener)
    assert listener.key is not None


def test_the_key_can_be_changed_while_playing() -> None:
    """The same black key is E's leading tone and then the fourth of Bb."""
    heard = hear(play("E5 D#5 E5 G5 F#5 A4 D5 C#5 D5 F#5 E5 G4"), parse_key("e minor"))
    assert "D#5" in named(heard.pattern().positions[1].heard)
    heard.listener.choose_key(parse_key("Bb major"))
    assert heard.listener.key == parse_key("Bb major")
    assert heard.pattern().key == parse_key("Bb major")
    heard.listener.choose_key(None)
    hear(play("E5", start_s=9.0), listener=heard.listener)
    assert heard.listener.key not in (None, parse_key("Bb major"))


def test_the_pattern_tells_what_was_played_before_its_links() -> None:
    heard = hear([*play("C4 Bb3 A3 G3", start_s=1.0), *play(TWO_LINKS, start_s=2.0)])
    assert named(heard.pattern().before) == "C4 Bb3 A3 G3"
    assert hear(play(TWO_LINKS)).pattern().before == ()


def test_the_pedal_of_the_later_link_goes_with_the_pattern() -> None:
    pedals = [
        PedalMove(at_s=at_s, controller=SUSTAIN, value=value)
        for at_s, value in ((1.1, 127), (2.9, 0), (3.1, 100), (4.9, 0))
    ]
    marks = hear(in_time([*play(TWO_LINKS), *pedals])).pattern().pedals
    assert [(round(m.offset_units, 3), m.value) for m in marks] == [(0.05, 100), (0.95, 0)]


def test_links_are_counted_and_confidence_is_a_probability() -> None:
    third = "C5 A4 B4 E4 D4 F4 G4 C4"
    two, three = hear(play(TWO_LINKS)).pattern(), hear(play(f"{TWO_LINKS} {third}")).pattern()
    assert (two.links_heard, three.links_heard) == (2, 3)
    assert 0.9 < two.confidence < 1.0
    assert named(p.heard[1] for p in three.positions) == third


@pytest.mark.parametrize("pitches", [(0, 127), (1, 2, 3, 126, 125, 124)])
def test_the_ends_of_the_keyboard_are_notes_like_others(pitches: tuple[int, ...]) -> None:
    listener = Listener(C_MAJOR)
    for at in range(60):
        pitch = pitches[at % len(pitches)]
        listener.hear(KeyDown(at_s=0.2 * at, pitch=pitch, velocity=1, channel=at % 16))
    assert set(listener.held) == set(pitches)


def test_notes_at_one_moment_and_far_apart_do_no_harm() -> None:
    listener = Listener(C_MAJOR)
    for at_s in (0.0, 0.0, 0.0, 1e-9, 5.0, 5.0, 1e6, 1e6):
        listener.hear(KeyDown(at_s=at_s, pitch=60, velocity=64))
    heard = hear(play(TWO_LINKS, start_s=2e6), listener=listener)
    assert heard.stands.timing.unit_s == pytest.approx(2.0, abs=1e-4)


def test_two_links_an_octave_of_channels_apart_are_one_chain() -> None:
    """Hands on two manuals, as two channels."""
    copy = [
        replace(e, channel=9) for e in play(COPY, start_s=3.0) if isinstance(e, KeyDown | KeyUp)
    ]
    assert hear([*play(MODEL), *copy]).stands.alignment.step_degrees == -1


def weight(root: object) -> int:
    """Bytes of everything an object holds, arrays included."""
    seen: set[int] = set()
    total = 0
    for item in _holdings(root, seen):
        total += item.nbytes if isinstance(item, np.ndarray) else sys.getsizeof(item)
    return total


def _holdings(root: object, seen: set[int]) -> Iterator[object]:
    waiting = [root]
    while waiting:
        item = waiting.pop()
        if id(item) in seen or isinstance(item, type | ModuleType | FunctionType):
            continue
        seen.add(id(item))
        yield item
        waiting += gc.get_referents(item)


def test_memory_does_not_grow_with_what_was_played() -> None:
    """Ten thousand notes weigh what two thousand did: the past is forgotten."""
    listener = Listener(C_MAJOR)
    weights = {}
    notes = 0
    for event in wandering(0.0, 7600, seed=11):
        listener.hear(event)
        if isinstance(event, KeyDown):
            notes += 1
            pedal = PedalMove(at_s=event.at_s, controller=SUSTAIN, value=notes % 128)
            listener.hear(pedal)
            if notes in (2000, 10000):
                weights[notes] = weight(listener)
    assert weights[10000] == pytest.approx(weights[2000], rel=0.02)
