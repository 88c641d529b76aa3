"""Chains of applied dominants come to the key's own triads, each through its own dominant.

Common practice: handbooks of harmony give V7/ii-ii, V7/iii-iii, V7/IV-IV, … as one sequence; a
composer's third link is neither an exact copy (C#7 f# in C major) nor one without dominants.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.events import PedalMove
from tests.sequence.heard import hear, play

# chords of C major from the bass up, in close position, as pairs of a dominant and its goal
TO = {
    "C": "G2.B3.D4.F4 C3.C4.E4.G4",
    "d": "A2.C#4.E4.G4 D3.D4.F4.A4",
    "e": "B2.D#4.F#4.A4 E3.E4.G4.B4",
    "F": "C3.E4.G4.Bb4 F3.F4.A4.C5",
    "G": "D3.F#4.A4.C5 G3.G4.B4.D5",
    "a": "E3.G#4.B4.D5 A3.A4.C5.E5",
}


def expected(*goals: str) -> str:
    return " | ".join(TO[goal].replace(".", " ") for goal in goals)


@pytest.mark.parametrize(
    ("heard", "then"),
    [
        (("d", "e"), ("F", "G", "a")),
        (("F", "G"), ("a",)),
        (("e", "d"), ("C",)),
        (("G", "F"), ("e", "d", "C")),
        (("a", "G"), ("F", "e", "d")),
    ],
    ids=" ".join,
)
def test_each_goal_is_a_triad_of_the_key(heard: tuple[str, ...], then: tuple[str, ...]) -> None:
    found = hear(play(" ".join(TO[goal] for goal in heard), 0.5))
    assert found.names(len(then)) == expected(*then)


@pytest.mark.parametrize(("key", "up"), [("F major", 5), ("G major", 7), ("Eb major", 3)])
@pytest.mark.parametrize("heard", [("d", "e"), ("e", "d"), ("F", "G")], ids=" ".join)
def test_in_other_keys(heard: tuple[str, str], key: str, up: int) -> None:
    def pitches(name: str, semitones: int) -> list[int]:
        events = play(" ".join(TO[goal] for goal in heard), 0.5)
        moved = [
            replace(e, pitch=e.pitch + semitones) for e in events if not isinstance(e, PedalMove)
        ]
        return [spelling(n).midi for n in hear(moved, parse_key(name)).names().split()]

    assert pitches(key, up) == [pitch + up for pitch in pitches("C major", 0)]


def test_in_the_relative_minor() -> None:
    found = hear(play(f"{TO['d']} {TO['e']}", 0.5), parse_key("a minor"))
    assert found.names() == expected("F")


def test_a_goal_that_would_be_diminished_is_minor() -> None:
    found = hear(play(f"{TO['G']} {TO['a']}", 0.5))
    assert found.names() == "F#3 A#4 C#5 E5 B3 B4 D5 F#5"


def test_broken_chords_too() -> None:
    links = "C3.E4 G4 Bb4 G4 F3.F4 A4 C5 A4 | D3.F#4 A4 C5 A4 G3.G4 B4 D5 B4"
    assert hear(play(links)).names() == "E3 G#4 B4 D5 B4 A3 A4 C5 E5 C5"


def test_goals_that_are_not_of_the_key_are_copied_exactly() -> None:
    """By whole tones down, out of D major: A7 D | G7 C | F7 Bb."""
    links = "A2.C#4.E4.G4 D3.D4.F#4.A4 G2.B3.D4.F4 C3.C4.E4.G4"
    found = hear(play(links, 0.5), parse_key("D major"))
    assert found.names() == "F2 A3 C4 Eb4 Bb2 Bb3 D4 F4"


def test_links_without_a_foreign_leading_tone_are_none() -> None:
    """Triads of the key, each with the next: nothing is raised."""
    links = "C3.C4.E4.G4 F3.C4.F4.A4 D3.D4.F4.A4 G3.D4.G4.B4"
    assert hear(play(links, 0.5)).names() == "E3 E4 G4 B4 A3 E4 A4 C5"
