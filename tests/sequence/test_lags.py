"""The running comparison on groups made by hand: what pairs with what, and what it gains."""

from __future__ import annotations

import random  # noqa: TID251  seeded

import numpy as np
import pytest

from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.affinity import affinity
from livecont.sequence.costs import COSTS
from livecont.sequence.lags import BEGIN, BOTH, EXTRA, SKIP_ONE, LagTable, Path

Group = tuple[float, tuple[int, ...]]
LINK_1 = "C4 E4 D4 G4 F4 A4"
LINK_2 = "D4 F4 E4 A4 G4 B4"  # a step higher
UP = COSTS.widest_step + 1  # the column of a step up
IOI_S = 0.3


def table_of(groups: list[Group]) -> LagTable:
    table = LagTable(COSTS, affinity(parse_key("C major"), COSTS.widest_step, COSTS.respelled))
    for onset_s, pitches in groups:
        table.add(onset_s, pitches)
    return table


def written(text: str, start_s: float = 0.0) -> list[Group]:
    """Groups from names at even onsets; '.' joins a chord, '-' leaves an onset out."""
    return [
        (start_s + at * IOI_S, tuple(sorted(spelling(name).midi for name in word.split("."))))
        for at, word in enumerate(text.split())
        if word != "-"
    ]


def paired(path: Path) -> list[tuple[int, int]]:
    """(earlier, later) groups of an alignment, oldest first, without those that have no partner."""
    return [
        (path.early(i), path.newest - i)
        for i in range(len(path) - 1, -1, -1)
        if path.moves[i] != EXTRA
    ]


def test_an_exact_copy_is_aligned_group_by_group() -> None:
    path = table_of(written(f"{LINK_1} {LINK_2}")).trace(6, UP, 12)
    assert paired(path) == [(n, n + 6) for n in range(6)]
    assert path.begun
    assert list(path.moves) == [BOTH] * 5 + [BEGIN]
    # each note that has its image gains the same, each interval kept as much again
    whole = 6 * COSTS.match + 5 * COSTS.rhythm_gain
    assert path.gained[-1] == pytest.approx(whole, rel=1e-5)


def test_other_steps_and_lags_do_not_fit_it() -> None:
    score, gained = table_of(written(f"{LINK_1} {LINK_2}")).standing()
    assert score[6, UP] == score.max()
    others = score.copy()
    others[6, UP] = 0.0
    assert others.max() < 0.8 * score[6, UP]
    assert gained[6, UP] == score[6, UP]


def test_a_note_left_out_of_the_copy_is_skipped() -> None:
    path = table_of(written(f"{LINK_1} D4 F4 - A4 G4 B4")).trace(5, UP, 11)
    assert paired(path) == [(0, 6), (1, 7), (3, 8), (4, 9), (5, 10)]
    assert SKIP_ONE in path.moves
    assert list(path.lags) == [5, 5, 5, 6, 6]


def test_a_note_too_many_in_the_copy_has_no_partner() -> None:
    groups = written(f"{LINK_1} {LINK_2}")
    extra = (7.5 * IOI_S, (spelling("C3").midi,))
    path = table_of(sorted([*groups, extra])).trace(7, UP, 12)
    assert paired(path) == [(0, 6), (1, 7), (2, 9), (3, 10), (4, 11), (5, 12)]
    assert list(path.moves).count(EXTRA) == 1


def test_a_wrong_note_costs_less_than_its_place_in_the_order() -> None:
    """One wrong note, and the rest is still aligned around it, at a loss."""
    path = table_of(written(f"{LINK_1} D4 F4 C#5 A4 G4 B4")).trace(6, UP, 12)
    assert len(path) == 6
    assert path.begun
    right = 5 * COSTS.match - 2 * COSTS.unmatched + 5 * COSTS.rhythm_gain
    assert path.gained[-1] == pytest.approx(right, rel=1e-5)


def test_an_alignment_that_keeps_its_lag_is_reckoned_beside_the_one_that_bends() -> None:
    """It gains what the bending one gains, and starts at the first pair that fits."""
    table = table_of(written(f"F#3 G#3 {LINK_1} {LINK_2}"))
    assert table.standing_straight()[6, UP] == pytest.approx(table.standing()[1][6, UP])
    start, path = table.trace_straight(6, UP)
    assert start == 8
    assert paired(path) == [(n + 2, n + 8) for n in range(6)]
    np.testing.assert_allclose(path.gained, table.trace(6, UP, 14).gained, rtol=1e-5)


def test_what_keeps_its_lag_reckons_the_newest_lag_only() -> None:
    third = "E4 G4 F4 B4 A4 C5"
    two = table_of(written(f"{LINK_1} {LINK_2}"))
    three = table_of(written(f"{LINK_1} {LINK_2} {third}"))
    assert three.trace_straight(6, UP)[0] == 6
    assert three.standing_straight()[6, UP] == pytest.approx(
        two.standing_straight()[6, UP] + COSTS.rhythm_gain
    )


def late_half(in_link: int, apart_s: float) -> LagTable:
    """Three chords and their copy, the middle one struck in two halves in one of the links."""
    links = [written("C4.E4 G4.B4 E4.A4"), written("D4.F4 A4.C5 F4.B4", 3 * IOI_S)]
    onset_s, (low, high) = links[in_link][1]
    links[in_link][1:2] = [(onset_s, (low,)), (onset_s + apart_s, (high,))]
    return table_of([*links[0], *links[1]])


@pytest.mark.parametrize("in_link", [0, 1], ids=["model", "copy"])
def test_a_chord_struck_in_two_halves_is_one_chord(in_link: int) -> None:
    """The hands 60 ms apart lose little; a quarter of a second apart they were two chords."""
    lag = 3 + in_link
    halves = late_half(in_link, 0.06).standing()[0][lag, UP]
    apart = late_half(in_link, 0.2).standing()[0][lag, UP]
    whole = 6 * COSTS.match + 2 * COSTS.rhythm_gain
    assert halves > 0.75 * whole
    assert apart < halves - COSTS.match


def test_a_copy_out_of_time_gains_less() -> None:
    even = table_of(written(f"{LINK_1} {LINK_2}")).standing()[0][6, UP]
    jolted = written(f"{LINK_1} {LINK_2}")
    jolted[8:] = [(onset_s + IOI_S, pitches) for onset_s, pitches in jolted[8:]]
    slower = [*written(LINK_1), *((1.1 * t, p) for t, p in written(LINK_2, 6 * IOI_S))]
    scores = [table_of(groups).standing()[0][6, UP] for groups in (slower, jolted)]
    assert scores[1] < scores[0] < even
    assert scores[0] > 0.9 * even


def test_a_chord_that_grows_note_by_note_ends_as_if_struck_at_once() -> None:
    whole = table_of(written("C4.E4.G4 D4.F4 D4.F4.A4 E4.G4"))
    grown = table_of(written("C4.E4.G4 D4.F4"))
    for at, word in ((2, "D4 F4 A4"), (3, "E4 G4")):
        pitches: tuple[int, ...] = ()
        for name in word.split():
            first = not pitches
            pitches = (*pitches, spelling(name).midi)
            (grown.add if first else grown.replace_newest)(at * IOI_S, pitches)
    for one, other in zip(whole.standing(), grown.standing(), strict=True):
        np.testing.assert_array_equal(one, other)
    np.testing.assert_array_equal(whole.trace(2, UP, 4).gained, grown.trace(2, UP, 4).gained)


def random_groups(count: int, seed: int) -> list[Group]:
    dice = random.Random(seed)
    groups = []
    onset_s = 0.0
    for _ in range(count):
        onset_s += dice.choice((0.15, 0.3))
        groups.append((onset_s, tuple(sorted(dice.sample(range(40, 80), dice.randint(1, 3))))))
    return groups


def test_what_a_path_gains_is_what_the_table_says() -> None:
    """The scores of the table against the paths read back, on plain playing of 60 groups."""
    table = table_of(random_groups(60, seed=1))
    score, _ = table.standing()
    alive = np.argwhere(score > 0)
    assert len(alive) > 20
    for lag, column in alive:
        path = table.trace(int(lag), int(column), 60)
        assert path.begun
        clipped = path.moves[path.moves != BOTH][:-1].size > 0
        if not clipped:
            assert path.gained[-1] == pytest.approx(score[lag, column], rel=1e-4, abs=1e-4)
        assert table.start_late(int(lag), int(column)) == path.newest - len(path) + 1


@pytest.mark.parametrize("before", [0, 200, 380, 500, 760])
def test_a_long_link_is_aligned_wherever_it_falls(before: int) -> None:
    """The table forgets in strides; a link must not be lost over one. Seen: onsets misread."""
    dice = random.Random(4)
    # no two neighbours alike, in fifths and more, so that no shorter lag fits
    model = [dice.randint(24, 38) for _ in range(90)]
    key = parse_key("C major")
    filler = random_groups(before, seed=2)
    start_s = filler[-1][0] + 0.3 if filler else 0.0
    link = [*model, *(place + 1 for place in model)]
    table = table_of(
        [*filler, *((start_s + 0.1 * n, (key.natural(s).midi,)) for n, s in enumerate(link))]
    )
    path = table.trace(90, UP, 90)
    late = path.newest - np.arange(90)
    lags_s = table.onsets_s(late) - table.onsets_s(late - path.lags[:90])
    np.testing.assert_allclose(lags_s, 9.0, atol=1e-6)


def test_a_table_is_not_moved_by_what_lies_beyond_the_longest_lag() -> None:
    """Same newest groups, other groups long before: the same standing, to the last digit."""
    newest = random_groups(2 * COSTS.longest_groups + 8, seed=3)
    tables = []
    for seed in (5, 6):
        before = random_groups(70 + seed, seed=seed)
        offset_s = 1000.0 - before[-1][0]
        tables.append(
            table_of(
                [*((t + offset_s, p) for t, p in before), *((t + 1001.0, p) for t, p in newest)]
            )
        )
    for one, other in zip(tables[0].standing(), tables[1].standing(), strict=True):
        np.testing.assert_allclose(one, other, atol=1e-3)
