"""What the sequence is, in the lines that there is room for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from livecont.music.label import make_label
from livecont.screen import ScreenNotes, render
from livecont.screen.statement import statement
from livecont.screen.wording_chain import both_counts, changed_words
from livecont.sequence.endings_clarity import Reach
from livecont.sequence.endings_kind import of_kind
from livecont.sequence.pattern import Kind
from livecont.sitting.events import Fullness
from livecont.sitting.snapshot import Changed, Snapshot

States = dict[str, tuple[Snapshot, ScreenNotes]]
LONG = make_label(-1, (-4, -4), ("seventh and five-three chords in turn", "7-6 suspensions"))


def lines(snapshot: Snapshot, width: int) -> list[str]:
    return ["".join(run.text for run in runs) for runs in statement(snapshot, width)]


def labelled(states: States, **told: object) -> Snapshot:
    snapshot = states["sounding-explained"][0]
    assert snapshot.explanation is not None
    analysis = replace(snapshot.explanation.analysis, **told)  # type: ignore[arg-type]
    return replace(snapshot, explanation=replace(snapshot.explanation, analysis=analysis))


def test_what_the_label_has_no_room_for_goes_to_the_numbers(states: States) -> None:
    snapshot = labelled(states, label=LONG)
    wide, page, narrow = (lines(snapshot, width) for width in (120, 62, 30))
    assert wide[1] == (
        "D2 (D5/A4): descending fifths, seventh and five-three chords in turn, 7-6 suspensions"
    )
    assert page[1] == "D2 (D5/A4): descending fifths"
    assert page[2].startswith("seventh and five-three chords in turn · 7-6 suspensions")
    assert narrow[0].startswith("a second down")  # the longer wording has no room
    assert narrow[1] == "D2 (D5/A4): descending fifths"
    assert all(len(line) <= 30 for line in narrow)


def test_doubt_is_always_said_and_the_rest_where_there_is_room(states: States) -> None:
    others = (make_label(-1, (-1,)), make_label(-1, (-2, 1)))
    sure = labelled(states, alternatives=others)
    assert lines(sure, 120)[1].endswith("or D2 (D2), D2 (D3/A2)")
    assert not any("or D2" in line for line in lines(sure, 40))
    unsure = labelled(states, alternatives=others, doubt="the lower line may be a pedal point")
    for width in (30, 40, 55, 120):
        text = " ".join(lines(unsure, width))
        assert "not sure: the lower line may be a pedal point" in text
        assert "or D2 (D2), D2 (D3/A2)" in text


def test_without_a_label_there_is_the_reason(states: States) -> None:
    found = lines(labelled(states, label=None, doubt="nothing sounds"), 55)
    assert found[0].startswith("a second down")
    assert found[1] == "not sure: nothing sounds"


@pytest.mark.parametrize(("width", "whole"), [(70, True), (45, False)])
def test_a_circle_is_named_station_by_station_where_there_is_room(
    states: States, width: int, whole: bool
) -> None:
    text = " ".join(lines(states["sounding-real"][0], width))
    assert "in b♭ minor · " in text
    assert "e again after 6 links" in text
    assert ("e d c b♭ g♯ f♯, " in text) is whole


def test_a_wish_is_seen(states: States) -> None:
    snapshot = states["sounding-explained"][0]
    assert lines(snapshot, 80)[0].endswith("  tonal")
    assert snapshot.pattern is not None
    real = replace(snapshot, pattern=of_kind(snapshot.pattern, Kind.REAL), kind_changed=True)
    assert lines(real, 80)[0].endswith("  real at your wish")
    main = replace(real, fullness=Fullness.REDUCTION)
    assert lines(main, 90)[0].endswith("  real at your wish, main notes only")
    narrow = lines(main, 37)
    assert narrow[0].endswith("  real")
    assert "at your wish · main notes only" in narrow


def test_both_counts_and_only_keys_where_clarity_is_not_known(states: States) -> None:
    snapshot = replace(states["sounding-explained"][0], reach=Reach(clear=3, compass=9))
    assert both_counts(snapshot) == ("9 in compass", "3 clear")
    assert snapshot.sounding is not None
    unrated = replace(
        snapshot,
        sounding=replace(snapshot.sounding, clarity=None),
        coming=tuple(replace(link, clarity=None) for link in snapshot.coming),
    )
    assert both_counts(unrated) == ("9 in compass",)
    assert both_counts(replace(snapshot, reach=None)) == ()


def test_a_very_small_page_has_the_label_too(states: States) -> None:
    sheet = render(states["sounding-explained"][0], width=40, height=14, notes=ScreenNotes())
    text = ["".join(run.text for run in runs) for runs in sheet.lines]
    assert "D2 (A3/D4): seventh chords" in text


def test_the_switch_is_seen_while_nothing_is_known(states: States) -> None:
    snapshot = replace(states["listening-key-estimated"][0], fullness=Fullness.REDUCTION)
    sheet = render(snapshot, width=80, height=24, notes=ScreenNotes())
    text = "\n".join("".join(run.text for run in runs) for runs in sheet.lines)
    assert "livecont sounds the third, and goes on, main notes only" in text


def test_names_of_notes_in_a_surprise_are_printed_as_everywhere() -> None:
    changed = Changed(number=5, said="the harmony of Bb instead of F#")
    assert changed_words(changed) == (
        "link 5 was changed on purpose: the harmony of B♭ instead of F♯"
    )
