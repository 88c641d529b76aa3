"""Which reading a musician would take: the shortest unit that explains what was played."""

from __future__ import annotations

import random  # noqa: TID251  seeded
from dataclasses import replace

import numpy as np
import pytest

from livecont.sequence.affinity import affinity
from livecont.sequence.alignment import (
    WORSE_FIT,
    Alignment,
    musicians_choice,
    newest_gain,
    standing_alignments,
)
from livecont.sequence.costs import COSTS
from livecont.sequence.events import KeyDown
from livecont.sequence.groups import Groups
from livecont.sequence.lags import LagTable
from tests.sequence.heard import C_MAJOR, play


def listened(text: str, ioi_s: float = 0.3) -> tuple[tuple[Alignment, ...], LagTable]:
    """What stands after the last note, and the table it stands in."""
    groups = Groups(COSTS.chord_s, 400)
    table = LagTable(COSTS, affinity(C_MAJOR, COSTS.widest_step, COSTS.respelled))
    for event in play(text, ioi_s):
        if isinstance(event, KeyDown):
            begins = groups.down(event)
            newest = groups[groups.count - 1]
            (table.add if begins else table.replace_newest)(newest.onset_s, newest.pitches)
    return standing_alignments(table, COSTS), table


def chosen(text: str) -> Alignment:
    found = musicians_choice(*listened(text), COSTS)
    assert found is not None
    return found


MODEL = "C5 G4 A4 E5 D5 B4 F4 C5"
UP_ONE = "D5 A4 B4 F5 E5 C5 G4 D5"
UP_TWO = "E5 B4 C5 G5 F5 D5 A4 E5"
UP_THREE = "F5 C5 D5 A5 G5 E5 B4 F5"


def test_two_links_are_one_unit_and_one_step() -> None:
    found = chosen(f"{MODEL} {UP_ONE}")
    assert (found.lag, found.step_degrees) == (8, 1)
    assert (found.begun, found.links, found.notes) == (1.0, 2.0, 8)
    assert (found.first_late, found.last_late) == (8, 15)
    assert 0.95 < found.fit < 1.25


def test_down_too() -> None:
    assert chosen(f"{UP_ONE} {MODEL}").step_degrees == -1


def test_the_unit_is_the_link_and_not_two_links() -> None:
    """Twice the unit fits as well, with twice the step: the shorter one is the link."""
    alignments, table = listened(f"{MODEL} {UP_ONE} {UP_TWO} {UP_THREE}")
    assert {(a.lag, a.step_degrees) for a in alignments} >= {(8, 1), (16, 2)}
    found = musicians_choice(alignments, table, COSTS)
    assert found is not None
    assert (found.lag, found.step_degrees, found.links) == (8, 1, 4.0)


def test_a_little_sequence_inside_the_link_is_not_the_link() -> None:
    """Its figure is moved on once inside each link; only the whole explains the rest."""
    link = "C5 B4 C5 E5 D5 C5 D5 F5 G5 E4 A4 C4"
    copy = "B4 A4 B4 D5 C5 B4 C5 E5 F5 D4 G4 B3"
    found = chosen(f"{link} {copy}")
    assert (found.lag, found.step_degrees) == (12, -1)


def test_a_figure_that_goes_on_is_the_link_where_it_explains_everything() -> None:
    figure = "C5 A4 B4 F4 D5 B4 C5 G4 E5 C5 D5 A4 F5 D5 E5 B4"
    found = chosen(figure)
    assert (found.lag, found.step_degrees) == (4, 1)


def test_an_exact_repeat_is_no_sequence() -> None:
    alignments, table = listened(f"{MODEL} {MODEL}")
    assert (8, 0) in {(a.lag, a.step_degrees) for a in alignments}
    assert musicians_choice(alignments, table, COSTS) is None


def test_a_copy_with_one_wrong_note_still_stands() -> None:
    found = chosen(f"{MODEL} D5 A4 B4 F5 C5 C5 G4 D5")
    assert (found.lag, found.step_degrees) == (8, 1)
    assert found.fit < chosen(f"{MODEL} {UP_ONE}").fit


STEPS = ["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5", "F5", "G5", "A5"]


def wandering(seed: int, notes: int = 40) -> str:
    """A line by steps and thirds, which is like itself nearly everywhere."""
    lot, at, names = random.Random(seed), len(STEPS) // 2, []
    for _ in range(notes):
        at = min(max(at + lot.choice((-2, -1, 1, 1, 2)), 0), len(STEPS) - 1)
        names.append(STEPS[at])
    return " ".join(names)


@pytest.mark.parametrize(
    "links",
    ["D5 E5 D5 E5 E5 F5 E5 F5", "D5 E5 C5 D5 E5 F5 D5 E5", "D5 C5 B4 D5 E5 D5 C5 E5"],
    ids=["a turn", "broken thirds", "a falling figure"],
)
def test_what_was_played_before_does_not_hide_a_sequence(links: str) -> None:
    """An alignment of the music before, a group out of place, went on into one link in four."""
    found = []
    for seed in range(60):
        one = musicians_choice(*listened(f"{wandering(seed)} {links}"), COSTS)
        found.append(one is not None and (one.lag, one.step_degrees) == (4, 1))
    assert sum(found) >= 59


def test_a_longer_unit_that_fits_much_worse_is_not_taken() -> None:
    """It explains a little of what went before, and gains by that."""
    alignments, table = listened(f"B4 C5 B4 C5 B4 C5 D5 B4 {MODEL} {UP_ONE}")
    short = next(a for a in alignments if (a.lag, a.step_degrees) == (8, 1))
    longer = replace(short, lag=20, gain=3 * short.gain, fit=short.fit - WORSE_FIT - 0.01)
    assert musicians_choice((short, longer), table, COSTS) == short
    longer = replace(longer, fit=short.fit - WORSE_FIT + 0.01)
    assert musicians_choice((short, longer), table, COSTS) == longer


def test_a_copy_that_has_just_begun_does_not_count_as_heard() -> None:
    """After six of eight notes the copy is begun to three quarters at most."""
    alignments, _ = listened(f"{MODEL} {' '.join(UP_ONE.split()[:6])}")
    begun = [a.begun for a in alignments if (a.lag, a.step_degrees) == (8, 1)]
    assert begun == [pytest.approx(0.75)]


@pytest.mark.parametrize("text", ["", "C4", "C4 E4", "C4 D4 C4", "C4.E4.G4"])
def test_too_little_to_say_anything(text: str) -> None:
    alignments, table = listened(text)
    assert alignments == ()
    assert musicians_choice(alignments, table, COSTS) is None


def test_a_unit_of_fewer_than_four_notes_is_no_link() -> None:
    alignments, _ = listened("C4 G4 E4 D4 A4 F4")
    assert all(a.notes >= 4 for a in alignments)


def test_notes_from_before_the_beginning_count_against_an_alignment() -> None:
    found = chosen(f"{MODEL} {UP_ONE}")
    notes = np.arange(1.0, 17.0, dtype=np.float32)  # one note a group
    whole = newest_gain(found.path, notes, 8, COSTS)
    assert whole == pytest.approx(found.gain)
    assert newest_gain(found.path, notes, 10, COSTS) == pytest.approx(whole - 4 * COSTS.unmatched)
