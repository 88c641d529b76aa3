"""The compass as a ruler: keys at their places, spans under them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.music.compass import Compass
from livecont.screen import ScreenNotes
from livecont.screen.ruler import ruler_block, scale_for
from livecont.screen.typeset import Line
from livecont.sitting.snapshot import Snapshot

States = dict[str, tuple[Snapshot, ScreenNotes]]


def text(runs: Line) -> str:
    return "".join(run.text for run in runs)


def compass(lowest: int, highest: int, *absent: int) -> Compass:
    return Compass(
        name="c", title="", lowest=lowest, highest=highest, absent=frozenset(absent), source=""
    )


@given(st.integers(0, 100), st.integers(1, 100), st.integers(1, 250))
def test_keys_lie_in_order_and_fill_the_scale(lowest: int, keys: int, width: int) -> None:
    scale = scale_for(compass(lowest, lowest + keys - 1), width)
    assert 1 <= scale.cells <= width
    lefts = [scale.left(pitch) for pitch in range(lowest, lowest + keys)]
    assert lefts == sorted(lefts)
    assert lefts[0] == 0
    assert scale.right(lowest + keys - 1) == scale.cells - 1
    if keys <= width:
        assert len(set(lefts)) == keys


@pytest.mark.parametrize("width", [56, 76, 112, 188])
def test_each_c_is_named_above_its_stroke(states: States, width: int) -> None:
    snapshot = states["listening-nothing-known"][0]
    names, rule = (text(line) for line in ruler_block(snapshot, width, 2))
    scale = scale_for(snapshot.compass, width)
    for octave, pitch in enumerate(range(36, 89, 12), start=2):
        cell = scale.left(pitch)
        assert names[cell : cell + 2] == "C" + "₀₁₂₃₄₅₆"[octave]
        assert rule[cell] == "┴"


def test_a_short_octave_leaves_gaps_in_the_rule(states: States) -> None:
    snapshot = states["ready-on-cue"][0]
    rule = text(ruler_block(snapshot, 49, 1)[0])
    absent = [i for i, sign in enumerate(rule) if sign == " "]
    assert [snapshot.compass.lowest + i for i in absent] == sorted(snapshot.compass.absent)


def test_keys_that_sound_are_dots(states: States) -> None:
    snapshot = states["listening-key-estimated"][0]
    rule = text(ruler_block(snapshot, 76, 2)[1])
    scale = scale_for(snapshot.compass, 76)
    dots = [i for i, sign in enumerate(rule) if sign == "●"]
    assert dots == [scale.left(pitch) for pitch in sorted(snapshot.held)]


def test_the_bar_covers_the_sounding_link(states: States) -> None:
    snapshot = states["sounding-sixth"][0]
    assert snapshot.sounding is not None
    bar = text(ruler_block(snapshot, 76, 4)[2])
    scale = scale_for(snapshot.compass, 76)
    assert bar.index("█") == scale.left(snapshot.sounding.lowest)
    assert bar.rindex("█") == scale.right(snapshot.sounding.highest)


def test_the_bar_moves_with_each_link(states: States) -> None:
    first = text(ruler_block(states["sounding-first"][0], 76, 4)[2])
    sixth = text(ruler_block(states["sounding-sixth"][0], 76, 4)[2])
    assert sixth.index("█") < first.index("█")
    assert sixth.rindex("█") < first.rindex("█")


def test_the_last_link_always_has_its_number(states: States) -> None:
    for name in ("sounding-first", "sounding-sixth", "sounding-chords-rising", "understood"):
        snapshot = states[name][0]
        last = str(snapshot.coming[-1].number)
        for height in (4, 6, 9, 20):
            rows = [text(line) for line in ruler_block(snapshot, 76, height)[3:]]
            assert any(last in row.split() for row in rows), (name, height)


def test_a_link_outside_the_compass_lies_at_its_end(states: States) -> None:
    snapshot = replace(states["sounding-first"][0], compass=compass(100, 108), coming=())
    bar = text(ruler_block(snapshot, 76, 3)[2])
    assert set(bar) == {"█"}
