"""The chain at a glance: which links are in the chart, and what it says of them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.screen import ScreenNotes
from livecont.screen.chart import chart
from livecont.sequence.pattern import Role
from livecont.sitting.snapshot import Snapshot

States = dict[str, tuple[Snapshot, ScreenNotes]]


def rows(snapshot: Snapshot, width: int = 70, height: int = 9) -> list[str]:
    return ["".join(run.text for run in runs) for runs in chart(snapshot, width, height)]


def columns(snapshot: Snapshot, width: int = 70) -> dict[str, list[str]]:
    """The rows' cells under each link, by the row's title."""
    lines = rows(snapshot, width)
    head = lines[0]
    starts = [i for i in range(9, len(head)) if head[i].isdigit() and not head[i - 1].isdigit()]
    ends = [*starts[1:], None]
    return {
        line[:9].strip(): [line[a:b].strip() for a, b in zip(starts, ends, strict=True)]
        for line in lines
    }


def test_it_says_of_each_link_its_main_notes_chords_and_clarity(states: States) -> None:
    found = columns(states["sounding-explained"][0])
    assert found["link"][:3] == ["5", "6 ▸", "7"]
    assert found["main"][:3] == ["E   G", "D  F♯", "C   E"]
    assert found["notes"][:3] == ["C   E", "B  D", "A   C"]
    assert found["chords"][:3] == ["VI  i", "v  VII", "iv  VI"]
    assert found["figures"][:2] == ["6   6", "6  6"]
    assert found["clear"][:3] == ["", "95 %", "95 %"]


@pytest.mark.parametrize("width", [30, 55, 90, 140])
def test_each_link_is_there_once_and_the_one_of_the_moment_always(
    state: tuple[Snapshot, ScreenNotes], width: int
) -> None:
    snapshot = state[0]
    lines = rows(snapshot, width)
    if not lines:
        return
    numbers = [word for word in lines[0].split()[1:] if word.isdigit()]
    assert numbers == sorted(set(numbers), key=int)
    if snapshot.sounding is not None:
        assert str(snapshot.sounding.number) in numbers
        assert "▸" in lines[0]
    assert all(len(line) <= width for line in lines)


def test_on_the_way_back_links_come_again_and_a_cadence_is_none_of_them(states: States) -> None:
    snapshot = states["sounding-explained"][0]
    assert snapshot.sounding is not None
    links = [snapshot.sounding, *snapshot.coming]
    back = [replace(link, role=Role.TURNED) for link in links[1:3]]
    turned = columns(replace(snapshot, coming=tuple(back)))
    assert turned["main"][turned["link"].index("7")] == turned["main"][turned["link"].index("5")]
    # also when the turning point is past
    later = replace(snapshot, past=(links[0],), sounding=back[0], coming=(back[1],))
    again = columns(later)
    assert again["main"][again["link"].index("7 ▸")] == again["main"][again["link"].index("5")]
    assert again["clear"][again["link"].index("6")] == "95 %"
    cadence = replace(links[1], role=Role.CADENCE)
    left = columns(replace(snapshot, coming=(cadence,)))
    assert left["main"][left["link"].index("7")] == ""
    assert left["clear"][left["link"].index("7")] == "95 %"


def test_what_was_before_the_step_was_counted_otherwise_is_left_out(states: States) -> None:
    snapshot = states["sounding-explained"][0]
    assert columns(replace(snapshot, kind_from=6), 120)["link"][:2] == ["5", "6 ▸"]
    assert columns(replace(snapshot, kind_from=7), 120)["link"][0] == "6 ▸"


def test_links_that_the_ear_would_lose_are_marked(states: States) -> None:
    snapshot = states["sounding-explained"][0]
    muddy = tuple(replace(link, clarity=0.41) for link in snapshot.coming)
    assert columns(replace(snapshot, coming=muddy))["clear"][2] == "41 %!"


def test_the_rows_wanted_most_are_kept_where_height_is_short(states: States) -> None:
    snapshot = states["sounding-explained"][0]
    titles = {
        height: [line[:9].strip() for line in rows(snapshot, 70, height)] for height in range(8)
    }
    assert titles[0] == titles[1] == []
    assert titles[2] == ["link", "main"]
    assert titles[4] == ["link", "main", "notes", "chords"]
    assert titles[5] == ["link", "main", "notes", "chords", "clear"]
    assert titles[6] == titles[7] == ["link", "main", "notes", "figures", "chords", "clear"]
