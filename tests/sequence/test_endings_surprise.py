"""Surprises: one place of a link is changed, it is said what, and the chain goes on."""

from __future__ import annotations

import random  # noqa: TID251 -- seeded here and handed in
from itertools import islice, pairwise

import pytest

from livecont.music.key import parse_key
from livecont.sequence.chain import Chain
from livecont.sequence.endings import Ending
from livecont.sequence.pattern import Link, Role
from tests.sequence.textures import FIVE_OCTAVES, PIANO, TEXTURES, pattern_of

C_MAJOR, A_MINOR = parse_key("C major"), parse_key("a minor")
LONG = 30
every_texture = pytest.mark.parametrize("name", TEXTURES)


def chains(name: str, seed: int, share: float, ending: Ending) -> tuple[list[Link], list[Link]]:
    """A chain with surprises, and the same without."""
    found = []
    for surprise in (share, 0.0):
        chain = Chain(
            pattern=pattern_of(TEXTURES[name], A_MINOR if seed % 2 else C_MAJOR),
            compass=FIVE_OCTAVES,
            ending=ending,
            surprise=surprise,
            dice=random.Random(seed),
        )
        found.append(list(islice(chain.links(), LONG)))
    return found[0], found[1]


@every_texture
@pytest.mark.parametrize("ending", Ending)
def test_one_link_is_changed_and_the_chain_goes_on(name: str, ending: Ending) -> None:
    for seed in range(4):
        surprising, plain = chains(name, seed, 0.5, ending)
        assert len(surprising) == len(plain)
        for link, due in zip(surprising, plain, strict=True):
            assert FIVE_OCTAVES.holds(note.pitch for note in link.notes)
            assert (link.number, link.role) == (due.number, due.role)
            changed = [n for n, d in zip(link.notes, due.notes, strict=True) if n != d]
            assert bool(changed) == (link.changed is not None)
            # rhythm and touch stay
            assert all(
                (n.offset_s, n.duration_s, n.velocity) == (d.offset_s, d.duration_s, d.velocity)
                for n, d in zip(link.notes, due.notes, strict=True)
            )


@every_texture
def test_there_are_surprises_and_they_are_apart(name: str) -> None:
    numbers = []
    for seed in range(4):
        surprising, _ = chains(name, seed, 0.9, Ending.FOLD)
        changed = [link.number for link in surprising if link.changed]
        # the first two links show that the pattern was understood
        assert min(changed) >= 5
        assert all(b - a > 1 for a, b in pairwise(changed))
        numbers += changed
    assert len(numbers) > 20


def test_a_cadence_is_never_upset() -> None:
    for name in TEXTURES:
        surprising, _ = chains(name, 1, 1.0, Ending.CLOSE)
        assert all(link.changed is None for link in surprising if link.role is Role.CADENCE)


def test_it_is_said_what_was_changed() -> None:
    said = set()
    for name in TEXTURES:
        for seed in range(2):
            surprising, plain = chains(name, seed, 1.0, Ending.FOLD)
            for link, due in zip(surprising, plain, strict=True):
                if link.changed is None:
                    continue
                assert len(link.changed) <= 48
                said.add(link.changed.split(" instead ")[0].split(" of ")[0])
                if " instead of " in link.changed and "harmony" not in link.changed:
                    new, old = link.changed.split(" instead of ")
                    pairs = zip(link.notes, due.notes, strict=True)
                    names = {
                        (n.spelling.letter_name, d.spelling.letter_name) for n, d in pairs if n != d
                    }
                    assert names == {(new, old)}
                elif "octave" in link.changed:
                    moves = {n.pitch - d.pitch for n, d in zip(link.notes, due.notes, strict=True)}
                    assert moves <= {0, 12, -12}
    assert any("octave" in words for words in said)
    assert "the harmony" in said
    assert any("#" in words or "b" in words for words in said)


def test_the_same_dice_give_the_same_chain() -> None:
    one, _ = chains("broken chords", 7, 0.4, Ending.FOLD)
    other, _ = chains("broken chords", 7, 0.4, Ending.FOLD)
    assert one == other


def test_how_often_is_the_players_choice() -> None:
    rare, _ = chains("running line", 3, 0.05, Ending.FOLD)
    often, _ = chains("running line", 3, 0.8, Ending.FOLD)
    assert sum(link.changed is not None for link in rare) < 5
    assert sum(link.changed is not None for link in often) > 7


def test_no_surprise_without_dice() -> None:
    chain = Chain(pattern=pattern_of(TEXTURES["two voices"], C_MAJOR), compass=PIANO, surprise=0.1)
    with pytest.raises(ValueError, match="dice"):
        next(chain.links())
