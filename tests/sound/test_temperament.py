"""Temperaments: the tables against their published constructions, and what a musician expects."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from livecont.errors import ConfigError
from livecont.music.pitch import LETTER_FIFTHS, LETTER_SEMITONES, LETTERS
from livecont.sound.temperament import EQUAL, Temperament
from livecont.tables import read_table
from livecont.tuning import _temperament, load_temperaments, temperament_named

TABLES = load_temperaments()
FIFTH = 1200 * math.log2(3 / 2)
PYTHAGOREAN = 12 * FIFTH - 7 * 1200
SYNTONIC = 1200 * math.log2(81 / 80)
SCHISMA = PYTHAGOREAN - SYNTONIC
THIRD = 1200 * math.log2(5 / 4)

# around the circle from Eb, as the keys of a keyboard are tuned
CIRCLE = ("Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#")
# by how much each fifth is narrow, as the treatises have it: the fifth begins at the name given.
# Constructions: Barbour 1951, Tuning and Temperament, and the treatises named in the table; those
# of both of Young's are from memory
LEFT = (PYTHAGOREAN - 12 / 16 * SYNTONIC) / 4
NARROW: dict[str, dict[str, float]] = {
    "pythagorean": {},
    "meantone-quarter": dict.fromkeys(CIRCLE[:-1], SYNTONIC / 4),
    "meantone-sixth": dict.fromkeys(CIRCLE[:-1], SYNTONIC / 6),
    "werckmeister-3": dict.fromkeys(("C", "G", "D", "B"), PYTHAGOREAN / 4),
    "kirnberger-3": {**dict.fromkeys(("C", "G", "D", "A"), SYNTONIC / 4), "F#": SCHISMA},
    "vallotti": dict.fromkeys(("F", "C", "G", "D", "A", "E"), PYTHAGOREAN / 6),
    "young-1": {
        **dict.fromkeys(("C", "G", "D", "A"), SYNTONIC * 3 / 16),
        **dict.fromkeys(("E", "B", "Bb", "F"), LEFT),
    },
    "young-2": dict.fromkeys(("C", "G", "D", "A", "E", "B"), PYTHAGOREAN / 6),
    "equal": dict.fromkeys(CIRCLE, PYTHAGOREAN / 12),
}
WOLVES = ("pythagorean", "meantone-quarter", "meantone-sixth")


def pitch_class(name: str) -> int:
    letter = LETTERS.index(name[0])
    return (LETTER_SEMITONES[letter] + name.count("#") - name[1:].count("b")) % 12


def built(narrow: dict[str, float]) -> list[float]:
    """The twelve cents above C, fifth by fifth from C up and down."""
    at = CIRCLE.index("C")
    cents = [0.0] * 12
    value = 0.0
    for name, upper in zip(CIRCLE[at:], CIRCLE[at + 1 :], strict=False):
        value += FIFTH - narrow.get(name, 0.0)
        cents[pitch_class(upper)] = value % 1200
    value = 0.0
    for name in reversed(CIRCLE[:at]):
        value -= FIFTH - narrow.get(name, 0.0)
        cents[pitch_class(name)] = value % 1200
    return cents


def fifth(table: Temperament, lower: str) -> float:
    upper = CIRCLE[(CIRCLE.index(lower) + 1) % 12]
    return (table.cents[pitch_class(upper)] - table.cents[pitch_class(lower)]) % 1200


def third(table: Temperament, lower: str) -> float:
    low = pitch_class(lower)
    return (table.cents[(low + 4) % 12] - table.cents[low]) % 1200


def test_the_circle_is_that_of_fifths() -> None:
    fifths = [LETTER_FIFTHS[LETTERS.index(n[0])] + 7 * (n.count("#") - n[1:].count("b"))
              for n in CIRCLE]  # fmt: skip
    assert fifths == list(range(-3, 9))


def test_every_table_is_checked() -> None:
    assert set(TABLES) == set(NARROW)


@pytest.mark.parametrize("name", NARROW)
def test_a_table_is_what_its_fractions_of_commas_make(name: str) -> None:
    assert TABLES[name].cents == pytest.approx(built(NARROW[name]), abs=0.0011)


@pytest.mark.parametrize("name", [name for name in NARROW if name not in WOLVES])
def test_those_that_circulate_close_the_circle_without_a_wolf(name: str) -> None:
    assert sum(NARROW[name].values()) == pytest.approx(PYTHAGOREAN, abs=1e-9)
    assert all(FIFTH - 6 < fifth(TABLES[name], lower) < FIFTH + 0.01 for lower in CIRCLE)
    # no major third is wider than the Pythagorean one (common practice for a good temperament)
    assert all(third(TABLES[name], lower) < THIRD + SYNTONIC + 0.01 for lower in CIRCLE)


@pytest.mark.parametrize("name", WOLVES)
def test_those_that_do_not_have_their_wolf_where_they_say(name: str) -> None:
    away = [abs(fifth(TABLES[name], lower) - FIFTH) for lower in CIRCLE]
    assert CIRCLE[away.index(max(away))] == "G#"
    assert max(away) > 15
    assert "wolf G#-Eb" in TABLES[name].title


def test_thirds_and_fifths_that_are_known_to_be_pure() -> None:
    for lower in ("C", "G", "D", "A", "E", "F", "Bb", "Eb"):
        assert third(TABLES["meantone-quarter"], lower) == pytest.approx(THIRD, abs=0.002)
    assert third(TABLES["kirnberger-3"], "C") == pytest.approx(THIRD, abs=0.002)
    assert fifth(TABLES["werckmeister-3"], "A") == pytest.approx(FIFTH, abs=0.002)


# cents as printed in whole numbers: an encyclopaedia of tunings on the web (Gann, An Introduction
# to Historical Tunings), read there for Aaron, Werckmeister and Vallotti
@pytest.mark.parametrize(
    ("name", "cents"),
    [
        ("meantone-quarter", (0, 76, 193, 310, 386, 503, 579, 697, 773, 890, 1007, 1083)),
        ("werckmeister-3", (0, 90, 192, 294, 390, 498, 588, 696, 792, 888, 996, 1092)),
        ("kirnberger-3", (0, 90, 193, 294, 386, 498, 590, 697, 792, 890, 996, 1088)),
        ("vallotti", (0, 94, 196, 298, 392, 502, 592, 698, 796, 894, 1000, 1090)),
    ],
)
def test_whole_cents_as_printed(name: str, cents: tuple[int, ...]) -> None:
    assert tuple(round(value) for value in TABLES[name].cents) == cents


def test_a_keyboard_is_tuned_from_its_a() -> None:
    for table in TABLES.values():
        assert table.away[9] == 0.0
        assert table.hz(69, 415.0) == pytest.approx(415.0)
        assert table.hz(57, 415.0) == pytest.approx(207.5)
        c_to_a = 1200 * math.log2(table.hz(69) / table.hz(60))
        assert c_to_a == pytest.approx(table.cents[9])
    assert TABLES["equal"].away == EQUAL.away == (0.0,) * 12


def test_every_table_names_its_source() -> None:
    for table in TABLES.values():
        assert len(table.source) > 10


def test_an_unknown_name_is_told_with_the_nearest() -> None:
    with pytest.raises(ConfigError, match="did you mean 'vallotti'"):
        temperament_named("valotti")


@pytest.mark.parametrize(
    "cents",
    ["[0.0]", "3", '["a"]', "[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]",
     "[0, 2, 1, 4, 5, 6, 7, 8, 9, 10, 11, 12]", "[0, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 1200]"],
)  # fmt: skip
def test_a_table_that_is_none_is_refused_with_its_line(tmp_path: Path, cents: str) -> None:
    path = tmp_path / "t.toml"
    path.write_text(f'[odd]\ntitle = "t"\ncents = {cents}\nsource = "s"\n', "utf-8")
    with pytest.raises(ConfigError, match=r"line 3, odd\.cents"):
        _temperament(read_table(path).table("odd"))
