"""Notes of a link in columns: chords together, hands apart."""

from __future__ import annotations

from dataclasses import replace

from livecont.music.pitch import Spelling, spelling
from livecont.screen.voices import Column, heard_verses, link_verse, moments
from livecont.sequence.pattern import Link, LinkNote, Pattern, Position
from livecont.sitting.snapshot import Snapshot


def position(offset: float, *names: str | None) -> Position:
    return Position(
        offset_units=offset,
        articulation=0.1,
        velocity=64,
        channel=0,
        heard=tuple(None if name is None else spelling(name) for name in names),
    )


def pattern_of(like: Pattern, *positions: Position) -> Pattern:
    return replace(like, positions=positions, unit_s=2.0)


def understood(states: dict[str, tuple[Snapshot, object]]) -> Pattern:
    pattern = states["understood"][0].pattern
    assert pattern is not None
    return pattern


def names(column: Column) -> tuple[str | None, tuple[str, ...], str | None]:
    def name(note: Spelling | None) -> str | None:
        return None if note is None else note.name

    return name(column.upper), tuple(note.name for note in column.inner), name(column.lower)


def test_a_spread_chord_is_one_moment(states: dict[str, tuple[Snapshot, object]]) -> None:
    # 2 s a link: 0.01 units are 20 ms, as a hand spreads a chord; 0.05 are 100 ms
    pattern = pattern_of(
        understood(states),
        position(0.0, "C3"),
        position(0.01, "E4"),
        position(0.02, "G4"),
        position(0.07, "A4"),
    )
    assert moments(pattern) == (0.0, 0.07)
    first, second = heard_verses(pattern)[0].columns
    assert names(first) == ("G4", ("E4",), "C3")
    assert names(second) == ("A4", (), None)


def test_a_melody_alone_is_one_line(states: dict[str, tuple[Snapshot, object]]) -> None:
    pattern = pattern_of(
        understood(states), *(position(i / 4, name) for i, name in enumerate(["C5", "G4", "E5"]))
    )
    (verse,) = heard_verses(pattern)
    assert not verse.has_lower
    assert [names(column)[0] for column in verse.columns] == ["C5", "G4", "E5"]


def test_a_broken_bass_stays_below_the_melody(states: dict[str, tuple[Snapshot, object]]) -> None:
    pattern = pattern_of(
        understood(states),
        position(0.0, "E5"),
        position(0.0, "C3"),
        position(0.25, "G3"),
        position(0.5, "D5"),
        position(0.5, "E3"),
        position(0.75, "G3"),
    )
    (verse,) = heard_verses(pattern)
    assert [names(c)[0] for c in verse.columns] == ["E5", None, "D5", None]
    assert [names(c)[2] for c in verse.columns] == ["C3", "G3", "E3", "G3"]


def test_a_missed_note_leaves_its_place_empty(states: dict[str, tuple[Snapshot, object]]) -> None:
    pattern = pattern_of(understood(states), position(0.0, "E5", "D5"), position(0.5, "C5", None))
    first, second = heard_verses(pattern)
    assert len(first.columns) == len(second.columns) == 2
    assert names(second.columns[1]) == (None, (), None)


def test_links_heard_keep_their_numbers(states: dict[str, tuple[Snapshot, object]]) -> None:
    pattern = replace(understood(states), links_heard=4)  # the two latest are kept
    assert [verse.number for verse in heard_verses(pattern)] == [3, 4]


def test_every_note_of_every_link_is_in_some_column(
    state: tuple[Snapshot, object],
) -> None:
    snapshot = state[0]
    if snapshot.pattern is None:
        assert not snapshot.coming
        return
    starts = moments(snapshot.pattern)
    for link in snapshot.coming:
        verse = link_verse(link, starts)
        shown = sorted(
            note.midi
            for column in verse.columns
            for note in (column.upper, *column.inner, column.lower)
            if note is not None
        )
        assert shown == sorted(note.pitch for note in link.notes)


def test_a_note_played_a_little_early_stands_in_its_column() -> None:
    notes = tuple(
        LinkNote(offset_s=at, duration_s=0.1, spelling=spelling(name), velocity=64, channel=0)
        for at, name in ((-0.02, "C4"), (0.49, "D4"), (1.04, "E4"))
    )
    link = Link(number=3, unit_s=2.0, notes=notes, pedals=())
    verse = link_verse(link, (0.0, 0.25, 0.5, 0.75))
    assert [names(column)[0] for column in verse.columns] == ["C4", "D4", "E4", None]
