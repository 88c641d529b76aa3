"""Cadences in all keys and many textures, held to the rules of voice leading.

The rules are common practice, as handbooks of harmony and counterpoint have them: no parallel
fifths, octaves or unisons between the outer voices; the leading tone rises; the end is the tonic.
What is checked is worked out here from the notes that sound, not by the code under test.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise

import pytest

from livecont.music.clarity import CLEAR
from livecont.music.key import Key, parse_key
from livecont.sequence.chain import Chain
from livecont.sequence.endings import Ending, Limit
from livecont.sequence.endings_kind import of_kind
from livecont.sequence.pattern import Kind, Link, LinkNote, PedalMark, Role
from tests.sequence.textures import FIVE_OCTAVES, KEYS, PIANO, TEXTURES, Texture, pattern_of

every_texture = pytest.mark.parametrize("name", TEXTURES)
RUNS = (1, 2, 3, 4, 5, 6, None)
# every key meets every texture, each after a run of another length; two keys after every run
CASES = tuple(
    (key, RUNS[(number + shift) % len(RUNS)])
    for number, key in enumerate(KEYS)
    for shift in (range(len(RUNS)) if key.name in ("C major", "a minor") else (0,))
)


@cache
def closed(name: str, key: Key, most_links: int | None) -> tuple[Link, ...]:
    chain = Chain(
        pattern=pattern_of(TEXTURES[name], key),
        compass=FIVE_OCTAVES if most_links is None else PIANO,
        most_links=most_links,
        ending=Ending.CLOSE,
    )
    return tuple(chain.links())


def cadence_of(links: Sequence[Link]) -> list[Link]:
    """The cadence with the link before it, where there is one."""
    first = next(i for i, link in enumerate(links) if link.role is Role.CADENCE)
    return list(links[max(0, first - 1) :])


def moments(links: Sequence[Link]) -> list[tuple[float, int, int]]:
    """When something is struck in more than one voice: time, lowest and highest sounding pitch."""
    notes = []
    for number, link in enumerate(links):
        start_s = number * link.unit_s
        for note in link.notes:
            # a legato note reaches the next one
            end_s = start_s + note.offset_s + note.duration_s / 0.9
            notes.append((start_s + note.offset_s, end_s, note.pitch))
    found = []
    for at_s in sorted({round(start_s, 6) for start_s, _, _ in notes}):
        now = [pitch for start_s, end_s, pitch in notes if start_s <= at_s + 1e-6 < end_s - 1e-4]
        if len(set(now)) > 1:
            found.append((at_s, min(now), max(now)))
    return found


def parallel_moments(rows: Sequence[tuple[float, int, int]]) -> list[tuple[float, float]]:
    found = []
    for (t1, low1, high1), (t2, low2, high2) in pairwise(rows):
        same_way = (low2 - low1) * (high2 - high1) > 0
        one, two = (high1 - low1) % 12, (high2 - low2) % 12
        if same_way and one == two and one in (0, 7):
            found.append((t1, t2))
    return found


def final_chord(link: Link) -> list[LinkNote]:
    end_s = max(note.offset_s for note in link.notes)
    return [note for note in link.notes if note.offset_s == end_s]


def dominant_notes(links: Sequence[Link], texture: Texture) -> list[LinkNote]:
    """The notes of the harmony before the last chord."""
    last = links[-1]
    end_s = final_chord(last)[0].offset_s
    cell_s = last.unit_s / texture.cells
    if end_s > 0:
        return [n for n in last.notes if end_s - cell_s - 1e-6 <= n.offset_s < end_s - 1e-6]
    return [n for n in links[-2].notes if n.offset_s >= last.unit_s - cell_s - 1e-6]


def middle(link: Link) -> float:
    return (link.lowest + link.highest) / 2


def heads(links: Sequence[Link], texture: Texture) -> list[tuple[float, int, int]]:
    """The moments at which harmonies begin."""
    unit_s = links[0].unit_s
    beats = [number * unit_s / texture.cells for number in range(len(links) * texture.cells)]
    return [row for row in moments(links) if any(abs(row[0] - beat) < 1e-6 for beat in beats)]


@every_texture
def test_a_cadence_makes_no_parallels(name: str) -> None:
    for key, most in CASES:
        links = closed(name, key, most)
        assert parallel_moments(moments(links[:1])) == [], "the texture has some: judges nothing"
        cadence = cadence_of(links)
        assert parallel_moments(moments(cadence)) == [], (key.name, most)
        assert parallel_moments(heads(cadence, TEXTURES[name])) == [], (key.name, most)


@every_texture
def test_a_cadence_ends_on_the_tonic(name: str) -> None:
    for key, most in CASES:
        last = closed(name, key, most)[-1]
        assert last.role is Role.CADENCE
        chord = final_chord(last)
        triad = {key.natural(key.letter + place).letter_name for place in (0, 2, 4)}
        assert {note.spelling.letter_name for note in chord} <= triad
        assert min(chord, key=lambda n: n.pitch).spelling.letter_name == key.tonic
        assert max(chord, key=lambda n: n.pitch).spelling.letter_name == key.tonic
        # it is held to the end of its link
        assert all(n.offset_s + n.duration_s > 0.9 * last.unit_s for n in chord)


@every_texture
def test_leading_tones_rise(name: str) -> None:
    for key, most in CASES:
        links = closed(name, key, most)
        chord = {note.pitch for note in final_chord(links[-1])}
        dominant = dominant_notes(links, TEXTURES[name])
        leading = (key.tonic_pitch_class - 1) % 12
        leading_tones = {n.pitch for n in dominant if n.pitch % 12 == leading}
        assert leading_tones, (key.name, most)
        struck_at_once = len({round(n.offset_s, 3) for n in dominant}) == 1
        # a broken chord may have it in two octaves: that is one voice
        enough = all if struck_at_once else any
        assert enough(pitch + 1 in chord for pitch in leading_tones), (key.name, most)
        last = max(dominant, key=lambda n: (round(n.offset_s, 3), n.pitch))
        if last.pitch % 12 == leading:
            assert last.pitch + 1 in chord, (key.name, most)


@every_texture
def test_the_texture_and_register_stay(name: str) -> None:
    for key, most in CASES:
        links = closed(name, key, most)
        cadence = cadence_of(links)
        before = cadence[0]
        for link in cadence[1:]:
            assert abs(middle(link) - middle(before)) <= 12, (key.name, most)
            if len(final_chord(link)) == len(link.notes):
                continue
            rhythm = {round(note.offset_s, 6) for note in before.notes}
            assert {round(note.offset_s, 6) for note in link.notes} <= rhythm
            assert link.unit_s == before.unit_s


@every_texture
def test_no_key_is_struck_twice_at_once(name: str) -> None:
    for key, most in CASES:
        for link in closed(name, key, most):
            struck = [(round(note.offset_s, 3), note.pitch) for note in link.notes]
            assert len(struck) == len(set(struck)), (key.name, most)


@every_texture
def test_a_chain_that_is_to_be_clear_ends_clear(name: str) -> None:
    for key in (parse_key("C major"), parse_key("a minor"), parse_key("Eb major")):
        links = list(
            Chain(
                pattern=pattern_of(TEXTURES[name], key),
                compass=PIANO,
                ending=Ending.CLOSE,
                limit=Limit.CLEAR,
            ).links()
        )
        chain = [link for link in links if link.role is Role.CHAIN]
        assert all(link.clarity is not None and link.clarity >= CLEAR for link in chain)
        # a cadence may go a little beyond the limit on its way
        last = links[-1]
        assert last.clarity is not None
        assert last.clarity > 0.8 * CLEAR, key.name


@pytest.mark.parametrize("mode", ["dorian", "phrygian", "lydian", "mixolydian", "locrian"])
@every_texture
def test_church_modes_end_on_their_final(name: str, mode: str) -> None:
    for tonic in ("D", "E", "Bb"):
        key = parse_key(f"{tonic} {mode}")
        links = closed(name, key, 3)
        assert links[-1].role is Role.CADENCE
        chord = final_chord(links[-1])
        assert min(chord, key=lambda n: n.pitch).spelling.letter_name == key.tonic
        cadence = cadence_of(links)
        assert parallel_moments(heads(cadence, TEXTURES[name])) == []


def test_a_real_chain_closes_in_the_key_it_began_in() -> None:
    for name in ("broken chords", "running line", "four voices"):
        for most in RUNS:
            chain = Chain(
                pattern=of_kind(pattern_of(TEXTURES[name], parse_key("D major")), Kind.REAL),
                compass=PIANO,
                most_links=most,
                ending=Ending.CLOSE,
            )
            links = list(chain.links())
            last = final_chord(links[-1])
            assert {note.spelling.letter_name for note in last} <= {"D", "F#", "A"}
            assert parallel_moments(heads(cadence_of(links), TEXTURES[name])) == []


def test_the_pedal_comes_up_at_the_end() -> None:
    marks = tuple(
        PedalMark(offset_units=offset, controller=64, value=value)
        for offset, value in ((0.0, 127), (0.45, 0), (0.5, 127), (0.95, 0))
    )
    pattern = pattern_of(TEXTURES["broken chords"], parse_key("C major"), pedals=marks)
    links = list(Chain(pattern=pattern, compass=PIANO, most_links=3, ending=Ending.CLOSE).links())
    assert links[-1].pedals[-1].value == 0
    assert links[-1].pedals[-1].offset_units > 0.9
    assert sum(mark.value > 0 for mark in links[-1].pedals) == 1


def test_no_room_no_cadence() -> None:
    narrow = replace(PIANO, lowest=59, highest=75)
    pattern = pattern_of(TEXTURES["single line"], parse_key("B major"), octaves=1)
    chain = Chain(pattern=pattern, compass=replace(narrow, highest=60), ending=Ending.CLOSE)
    assert list(chain.links()) == []
