"""The key of two links where nobody named it: what the links speak for, and what they lead to."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from livecont.music.key import Key, parse_key
from livecont.music.pitch import spelling
from livecont.sequence.continuation import carry_on
from livecont.sequence.key_of_links import Reading, keys_of_links, most_agreed
from livecont.sequence.pattern import Position


def positions(one: str, two: str) -> tuple[Position, ...]:
    pairs = list(zip(one.split(), two.split(), strict=True))
    return tuple(
        Position(
            offset_units=n / len(pairs),
            articulation=1 / len(pairs),
            velocity=64,
            channel=0,
            heard=(spelling(a), spelling(b)),
        )
        for n, (a, b) in enumerate(pairs)
    )


def weights_of(links: tuple[Position, ...]) -> list[float]:
    weights = [0.0] * 12
    for position in links:
        for heard in position.heard:
            if heard is not None:
                weights[heard.midi % 12] += 1.0
    return weights


def reading(key: Key, weight: float, links: tuple[Position, ...]) -> Reading:
    return Reading(key=key, weight=weight, positions=links)


# falling fifths in each of these keys (roots I IV vii iii, as the handbooks list them), so that the
# two links hold all seven degrees (common practice)
@pytest.mark.parametrize("tonic", ["C", "G", "D", "F", "Bb", "Eb", "A"])
def test_two_links_with_every_degree_tell_the_key(tonic: str) -> None:
    key = parse_key(f"{tonic} major")
    places = [28 + key.letter + degree for degree in (0, 2, 4, 3, 5, 7)]
    names = [key.natural(place).name for place in places]
    moved = [key.natural(place - 1).name for place in places]
    links = positions(" ".join(names), " ".join(moved))
    likely = keys_of_links(weights_of(links), links)
    assert likely[0][0] == key
    assert sum(chance for _, chance in likely) <= 1 + 1e-9
    assert [chance for _, chance in likely] == sorted((c for _, c in likely), reverse=True)


def test_the_link_that_most_of_the_weight_agrees_on_wins() -> None:
    # E natural or E flat in the third link: two keys of middling weight outweigh the likeliest one
    links = positions("G4 B4 A4 G4", "F4 A4 G4 F4")
    c_major, b_flat, g_major = (parse_key(name) for name in ("C major", "Bb major", "G major"))
    chosen = most_agreed(
        [reading(b_flat, 0.4, links), reading(c_major, 0.35, links), reading(g_major, 0.25, links)],
        -1,
    )
    assert chosen.key == c_major
    third = carry_on(links, -1, chosen.key)
    assert [pitch.name for pitch in third if pitch is not None] == ["E4", "G4", "F4", "E4"]


def test_no_more_readings_are_drawn_up_than_can_matter() -> None:
    links = positions("G4 B4 A4 G4", "F4 A4 G4 F4")
    drawn = []

    def readings() -> Iterator[Reading]:
        for name, weight in (("C major", 0.6), ("G major", 0.3), ("F major", 0.1)):
            drawn.append(name)
            yield reading(parse_key(name), weight, links)

    most_agreed(readings(), -1)
    assert drawn == ["C major"]
