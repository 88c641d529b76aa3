"""What a sequence is, asked for and told; its main notes, sounded and shown."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from livecont.demo import demo_names, load_piece, perform
from livecont.music.spectrum import MODERN_PIANO
from livecont.sequence.analysis import analysed
from livecont.sequence.endings import Ending
from livecont.sequence.pattern import Kind, Link, Pattern, Position, Role
from livecont.sequence.reduction import MainNote
from livecont.sitting.carrying import chain_of
from livecont.sitting.events import (
    Analysed,
    ChangeFullness,
    ChangeKind,
    Fullness,
    Settings,
    Sound,
    Start,
    TookOver,
)
from livecont.sitting.explanation import LinkTold, explain
from livecont.sitting.main_notes import APART_S, MainNotes
from livecont.sitting.snapshot import Phase
from livecont.sitting.virtual import run
from tests.sequence.heard import play
from tests.sitting.desk import Desk, names
from tests.sitting.material import DUE_S, KEY, LINK_3, SETTINGS, UNIT_S, played, seated
from tests.strategies import PIANO

MAIN = replace(SETTINGS, fullness=Fullness.REDUCTION)


def answer(desk: Desk, at_s: float) -> None:
    """Answer the latest question, as the process beside would."""
    desk.until(at_s)
    asked = desk.asked[-1]
    told = explain(asked.pattern, asked.home)
    desk.give(Analysed(at_s=at_s, pattern=asked.pattern, explanation=told))


def pitches(link: Link) -> list[int]:
    return [note.pitch for note in link.notes]


def letters(told: LinkTold) -> list[int]:
    """The letters of the main notes, C = 0, harmony by harmony, from the highest voice down."""
    names = (n.name for one in told.harmonies for voice in one.voices for n in voice)
    return ["CDEFGAB".index(name[0]) for name in names]


# --- asking and telling -------------------------------------------------------------------------


def test_each_draft_with_other_notes_is_asked_about_once() -> None:
    desk = seated()
    desk.until(DUE_S + 3 * UNIT_S - 0.1)
    asked = [one.pattern for one in desk.asked]
    assert asked
    assert len({tuple(p.heard for p in pattern.positions) for pattern in asked}) == len(asked)
    assert all(one.at_s < DUE_S + 0.01 for one in desk.asked)


def test_it_is_seen_as_soon_as_it_is_told_and_forgotten_with_the_sequence() -> None:
    desk = seated()
    assert desk.until(DUE_S - 0.01).explanation is None
    answer(desk, DUE_S + 0.2)
    told = desk.seen().explanation
    assert told is not None
    assert told == explain(desk.asked[-1].pattern)
    assert desk.until(DUE_S + 2 * UNIT_S).explanation == told
    assert desk.until(DUE_S + 3 * UNIT_S + 1).explanation is None


def test_an_answer_that_comes_too_late_is_left() -> None:
    desk = seated()
    desk.until(DUE_S + 0.1)
    pattern = desk.asked[-1].pattern
    later_s = DUE_S + 3 * UNIT_S + 1
    desk.until(later_s)
    desk.give(Analysed(at_s=later_s, pattern=pattern, explanation=explain(pattern)))
    assert desk.seen().explanation is None
    other = replace(pattern, step_degrees=2)
    desk = seated()
    desk.until(DUE_S + 0.1)
    desk.give(Analysed(at_s=DUE_S + 0.1, pattern=other, explanation=explain(pattern)))
    assert desk.seen().explanation is None


def test_counted_the_other_way_it_is_asked_about_again() -> None:
    desk = seated(replace(SETTINGS, most_links=6))
    answer(desk, DUE_S + 0.1)
    desk.give(ChangeKind(at_s=DUE_S + 0.2))
    assert desk.asked[-1].pattern.kind is Kind.REAL
    assert desk.seen().explanation is None
    answer(desk, DUE_S + 0.4)
    assert desk.seen().explanation is not None


def test_where_nobody_looks_on_nothing_is_asked() -> None:
    desk = seated(replace(SETTINGS, draws_ahead=False))
    desk.until(DUE_S + UNIT_S)
    assert desk.asked == []


def test_links_are_told_by_number_as_long_as_the_chain_goes() -> None:
    desk = seated()
    desk.until(DUE_S)
    explanation = explain(desk.asked[-1].pattern)
    assert explanation.link(0) is None
    first = explanation.link(1)
    assert first is not None
    for number in range(3, 100):
        one, other = explanation.link(number), explanation.link(number + explanation.lap)
        assert one is not None
        assert other is not None
        assert letters(one) == letters(other)
        assert letters(one) == [(letter - (number - 1)) % 7 for letter in letters(first)]


def test_in_a_real_chain_each_link_is_told_in_its_own_key() -> None:
    model = "E5.C4 G5 A4.F3 B4 C5.A3 F5 D5.B3 G4"
    copy = "D5.Bb3 F5 G4.Eb3 A4 Bb4.G3 Eb5 C5.A3 F4"
    desk = Desk(replace(SETTINGS, most_links=6))
    desk.give(*play(f"{model} {copy}", 0.25, 1.0))
    answer(desk, DUE_S + 0.1)
    told = desk.seen().explanation
    assert told is not None
    links = [told.link(number) for number in range(1, 9)]
    keys = [link.key for link in links if link is not None]
    # Gb or F#: as the link itself is spelled
    assert keys[:4] == ["C", "Bb", "Ab", keys[3]]
    assert keys[3] in ("Gb", "F#")
    assert keys[6] == "C"
    numerals = {tuple(h.numeral for h in link.harmonies) for link in links if link is not None}
    assert len(numerals) == 1


def test_counted_in_semitones_at_a_wish_the_link_that_sounds_is_at_home() -> None:
    desk = seated(replace(SETTINGS, most_links=6))
    answer(desk, DUE_S + 0.1)
    told = desk.seen().explanation
    assert told is not None
    assert {link.key for link in told.links} == {None}
    desk.give(ChangeKind(at_s=DUE_S + 0.2))
    assert desk.asked[-1].home == 3
    answer(desk, DUE_S + 0.4)
    told = desk.seen().explanation
    assert told is not None
    keys = [link.key if (link := told.link(n)) is not None else None for n in (3, 4, 5)]
    assert keys == ["C", "Bb", "Ab"]


# --- sounding main notes ------------------------------------------------------------------------


def test_main_notes_sound_from_the_first_link_on_where_they_are_known_in_time() -> None:
    desk = seated(MAIN)
    answer(desk, DUE_S - 0.04)
    desk.until(DUE_S + 3 * UNIT_S)
    whole = seated()
    whole.until(DUE_S + 3 * UNIT_S)
    assert [s.link.number for s in desk.pending()] == [3, 4, 5]
    for main, full in zip(desk.pending(), whole.pending(), strict=True):
        assert main.start_s == full.start_s
        assert 0 < len(main.link.notes) < len(full.link.notes)
        assert set(pitches(main.link)) <= set(pitches(full.link))
        assert all(n.offset_s + n.duration_s <= UNIT_S for n in main.link.notes)


def test_as_long_as_they_are_not_known_links_sound_whole() -> None:
    desk = seated(MAIN)
    desk.until(DUE_S + 0.1)
    assert names(desk.pending()[0].link) == LINK_3
    answer(desk, DUE_S + 0.2)
    desk.until(DUE_S + UNIT_S)
    assert len(desk.pending()[1].link.notes) < len(desk.pending()[0].link.notes)


def test_the_switch_works_from_the_next_link_on_and_back() -> None:
    desk = seated(replace(SETTINGS, most_links=5))
    answer(desk, DUE_S + 0.1)
    desk.give(ChangeFullness(at_s=DUE_S + 0.2))
    seen = desk.until(DUE_S + 0.3)
    assert seen.fullness is Fullness.REDUCTION
    assert seen.sounding is not None
    assert names(seen.sounding) == LINK_3
    assert len(seen.coming[0].notes) < len(seen.sounding.notes)
    desk.until(DUE_S + 2 * UNIT_S + 0.1)
    desk.give(ChangeFullness(at_s=DUE_S + 2 * UNIT_S + 0.2))
    desk.until(DUE_S + 4 * UNIT_S)
    sizes = [len(sound.link.notes) for sound in desk.pending()]
    assert sizes[0] == sizes[3] == sizes[4] > sizes[1] == sizes[2]


def test_the_take_over_is_told_with_the_notes_that_sound() -> None:
    desk = seated(MAIN)
    answer(desk, DUE_S - 0.04)
    desk.until(DUE_S + 0.1)
    [told] = desk.all(TookOver)
    assert told.link == desk.pending()[0].link


@pytest.mark.parametrize("ending", list(Ending))
@pytest.mark.parametrize("name", demo_names())
def test_in_virtual_time_main_notes_sound_in_every_ending(name: str, ending: Ending) -> None:
    piece = load_piece(name)
    settings = Settings(
        key=piece.key, compass=PIANO, most_links=3, ending=ending, fullness=Fullness.REDUCTION
    )
    effects = list(run(settings, perform(piece), aftermath_s=40))
    whole = list(run(replace(settings, fullness=Fullness.FULL), perform(piece), aftermath_s=40))
    mains, fulls = ([e for e in es if isinstance(e, Sound)] for es in (effects, whole))
    assert [(s.link.number, s.link.role) for s in mains] == [
        (s.link.number, s.link.role) for s in fulls
    ]
    for main, full in zip(mains, fulls, strict=True):
        assert main.start_s == pytest.approx(full.start_s)
        if full.link.role is not Role.CADENCE:
            assert len(main.link.notes) < len(full.link.notes)
        assert set(pitches(main.link)) <= set(pitches(full.link))


def test_a_main_note_is_let_go_before_it_is_struck_again() -> None:
    for name in demo_names():
        piece = load_piece(name)
        settings = Settings(key=piece.key, compass=PIANO, most_links=4, fullness=Fullness.REDUCTION)
        sounds = [e for e in run(settings, perform(piece)) if isinstance(e, Sound)]
        # the last take-over: earlier ones were called off
        sounds = sounds[max(i for i, sound in enumerate(sounds) if sound.link.number == 3) :]
        spans = sorted(
            (note.pitch, sound.start_s + note.offset_s, note.duration_s)
            for sound in sounds
            for note in sound.link.notes
        )
        for (pitch, at_s, length_s), (following, next_s, _) in pairwise(spans):
            if pitch == following:
                assert at_s + length_s <= next_s - APART_S / 2


def test_the_clarity_of_main_notes_is_their_own() -> None:
    desk = seated(replace(MAIN, spectrum=MODERN_PIANO))
    answer(desk, DUE_S - 0.04)
    seen = desk.until(DUE_S + 0.1)
    whole = seated(replace(SETTINGS, spectrum=MODERN_PIANO)).until(DUE_S + 0.1)
    for main, full in zip(seen.coming, whole.coming, strict=True):
        assert main.clarity is not None
        assert full.clarity is not None
        assert main.clarity != full.clarity


def test_another_draft_with_other_positions_does_not_suit() -> None:
    desk = seated()
    desk.until(DUE_S)
    pattern = desk.asked[-1].pattern
    main = MainNotes(explain(pattern).analysis.reduction, pattern, None)
    assert main.suits(pattern)
    assert not main.suits(replace(pattern, positions=pattern.positions[1:]))
    late = replace(pattern.positions[0], offset_units=0.4)
    assert not main.suits(replace(pattern, positions=(late, *pattern.positions[1:])))
    [link, *_] = chain_of(SETTINGS, pattern).links()
    strange = replace(link, notes=(*link.notes, replace(link.notes[0], offset_s=1.23)))
    assert main.of(strange, pattern) is strange
    assert main.of(link, pattern) is main.of(link, pattern)


def test_on_a_cue_there_is_time_to_know_them() -> None:
    desk = Desk(replace(MAIN, start=Start.ON_CUE))
    desk.give(*played())
    answer(desk, DUE_S - 0.04)
    seen = desk.seen()
    assert seen.phase is Phase.READY
    assert len(seen.coming[0].notes) < LINK_3.count(" ") + 1


# --- suspensions --------------------------------------------------------------------------------


def tied_sevenths() -> Pattern:
    """A chain of 7-6 suspensions, each tied over: F3, D5 after a half link, E3 below that."""

    def position(offset: float, length: float, staff: int) -> Position:
        heard = (KEY.natural(staff), KEY.natural(staff - 1))
        return Position(
            offset_units=offset, articulation=length, velocity=70, channel=0, heard=heard
        )

    return Pattern(
        unit_s=2.0,
        step_degrees=-1,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=KEY,
        positions=(position(0.0, 0.95, 24), position(0.0, 0.95, 26), position(0.5, 1.0, 36)),
        pedals=(),
        starts_s=(1.0, 3.0),
        due_s=5.0,
        confidence=1.0,
        links_heard=2,
    )


def main_note(offset: float, length: float, *, suspended: bool) -> MainNote:
    return MainNote(
        position=2, offset_units=offset, duration_units=length, voice=1, suspended=suspended
    )


REDUCTION = (
    MainNote(position=0, offset_units=0.0, duration_units=1.0, voice=0, suspended=False),
    main_note(0.5, 0.5, suspended=False),
    main_note(1.0, 0.5, suspended=True),
)


def test_a_suspension_that_is_tied_over_is_told_where_it_sounds(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pattern = tied_sevenths()
    analysis = replace(analysed(pattern), reduction=REDUCTION)
    monkeypatch.setattr("livecont.sitting.explanation.analysed", lambda _: analysis)
    explanation = explain(pattern)
    first, second = explanation.link(1), explanation.link(2)
    assert first is not None
    assert second is not None
    [model] = [v for one in first.harmonies for v in one.voices[:1] if v]
    assert [(n.name, n.suspended) for n in model] == [("D", False)]
    copy = [note for one in second.harmonies for note in one.voices[0]]
    assert [(n.name, n.suspended) for n in copy] == [("D", True), ("C", False)]


def test_a_suspension_is_tied_to_its_preparation() -> None:
    pattern = tied_sevenths()
    main = MainNotes(REDUCTION, pattern, None)
    link = next(iter(chain_of(SETTINGS, pattern).links()))
    bass, upper = main.of(link, pattern).notes
    assert (bass.offset_s, upper.offset_s) == (0.0, 1.0)
    assert upper.duration_s == pytest.approx(2.0 - APART_S)
