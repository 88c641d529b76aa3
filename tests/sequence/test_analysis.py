"""What a sequence is: label, harmonies, main notes and doubt, on music of our own.

The rules are common practice where no source is named: thoroughbass, and what handbooks say of
suspensions, passing notes and inversions.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.music.key import Key, parse_key
from livecont.music.pitch import spelling
from livecont.sequence.analysis import (
    Analysis,
    analysed,
    figures_at,
    harmonies_at,
    numerals_at,
    reduced,
    roots_told,
)
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Kind, Pattern, Position
from tests.sequence.textures import KEYS, TEXTURES, Texture, even, pattern_of

C_MAJOR, A_MINOR = parse_key("C major"), parse_key("a minor")


def told(model: tuple[tuple[float, float, str], ...], step: int, key: Key = C_MAJOR) -> Analysis:
    return analysed(pattern_of(Texture(model=model, step=step, cells=2), key))


def text(analysis: Analysis) -> str:
    assert analysis.label is not None
    return analysis.label.text


# --- labels -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("two voices", "D2 (D5/A4)"),
        ("four voices", "D2 (D5/A4)"),
        ("open chords", "D2 (D5/A4)"),
        ("broken chords", "D2 (D5/A4)"),
        ("murmuring bass", "D2 (D5/A4)"),
        ("running line", "D2 (D5/A4)"),
        ("off the beat", "D2 (D5/A4)"),
        ("single line", "D2 (D5/A4)"),
        ("falling thirds", "D3 (D4/A2)"),
        ("five six", "A2 (D3/A4)"),
        ("rising fifths", "A2 (A5/D4)"),
        ("parallel sixths", "D2 (D2)"),
        ("four harmonies", "D3 (D5/D3/A4/A2)"),
    ],
)
def test_textures_are_named_in_all_keys(name: str, label: str) -> None:
    assert {text(analysed(pattern_of(TEXTURES[name], key))) for key in KEYS} == {label}


def test_seven_six_suspensions_are_six_three_chords() -> None:
    """The seventh above each bass note is the sixth, held back: parallel six-three chords."""
    model = ((0.0, 1.0, "C3"), (0.0, 1.0, "E4"), (0.0, 0.5, "B4"), (0.5, 0.5, "A4"))
    analysis = told(model, -1)
    assert analysis.label is not None
    assert analysis.label.said == "D2 (D2): parallel six-three chords, with 7-6 suspensions"
    suspended = [note for note in analysis.reduction if note.suspended]
    assert [(n.offset_units, n.duration_units) for n in suspended] == [(0.0, 0.5)]
    voice = suspended[0].voice
    (resolved,) = [n for n in analysis.reduction if n.voice == voice and not n.suspended]
    assert (resolved.offset_units, resolved.duration_units) == (0.5, 0.5)


def test_a_seventh_with_its_fifth_is_a_seventh_chord() -> None:
    model = ((0.0, 0.5, "D3"), (0.0, 0.5, "F4"), (0.0, 0.5, "A4"), (0.0, 0.5, "C5"),
             (0.5, 0.5, "G2"), (0.5, 0.5, "F4"), (0.5, 0.5, "G4"), (0.5, 0.5, "B4"))  # fmt: skip
    pattern = pattern_of(Texture(model=model, step=-1, cells=2), C_MAJOR)
    analysis = analysed(pattern)
    assert text(analysis) == "D2 (D5/A4)"
    assert numerals_at(analysis, Course(pattern), 1) == ("ii7", "V7")


def test_a_scale_between_two_harmonies_passes_by() -> None:
    model = (*even(2, "C3 F3", "G4 A4"), *even(8, "E5 F5 G5 E5 C5 D5 E5 F5"))
    assert text(told(model, -1)) == "D2 (D5/A4)"


def test_a_pedal_point_is_no_root() -> None:
    """The bass stays on G through both links while the upper voices fall by fifths."""
    upper = pattern_of(Texture(model=even(2, "C4 F4", "E4+G4 A4+C5"), step=-1, cells=2), C_MAJOR)
    low = spelling("G2")
    pedal = tuple(
        Position(offset_units=0.0, articulation=1.0, velocity=70, channel=0, heard=heard)
        for heard in ((low, None), (None, low))
    )
    analysis = analysed(_with(upper, (*pedal, *upper.positions)))
    assert text(analysis) == "D2 (D5/A4)"
    assert [h.root.name for h in analysis.harmonies] == ["C", "F"]


def _with(pattern: Pattern, positions: tuple[Position, ...]) -> Pattern:
    return Pattern(
        unit_s=pattern.unit_s,
        step_degrees=pattern.step_degrees,
        shift_semitones=None,
        kind=Kind.TONAL,
        key=pattern.key,
        positions=positions,
        pedals=(),
        starts_s=pattern.starts_s,
        due_s=pattern.due_s,
        confidence=pattern.confidence,
        links_heard=2,
    )


# --- doubt --------------------------------------------------------------------------------------


def test_one_line_is_in_doubt_and_the_others_stand_beside_it() -> None:
    analysis = told(even(4, "C4 E4 D4 F4"), -1)
    assert analysis.doubt == "one line alone: its harmony is only implied"
    assert analysis.alternatives


def test_two_bare_voices_say_what_else_they_may_be() -> None:
    """E-C, A-C: sixth chord and chord, or two inversions of one triad."""
    analysis = told(even(2, "E3 A3", "C5 C5"), -1)
    assert len(analysis.alternatives) > 1
    assert text(analysis) not in [label.text for label in analysis.alternatives]


def test_full_chords_are_sure() -> None:
    assert analysed(pattern_of(TEXTURES["four voices"], C_MAJOR)).doubt is None


def test_nothing_heard_is_nothing_told() -> None:
    pattern = pattern_of(TEXTURES["two voices"], C_MAJOR)
    silent = analysed(_with(pattern, ()))
    assert (silent.label, silent.harmonies, silent.reduction) == (None, (), ())
    assert silent.doubt == "nothing sounds"


# --- links --------------------------------------------------------------------------------------


@given(
    name=st.sampled_from(sorted(TEXTURES)),
    key=st.sampled_from(KEYS),
    number=st.integers(min_value=2, max_value=8),
)
def test_every_link_has_the_roots_a_step_on(name: str, key: Key, number: int) -> None:
    pattern = pattern_of(TEXTURES[name], key)
    analysis, course = analysed(pattern), Course(pattern)
    first = harmonies_at(analysis, course, 1)
    later = harmonies_at(analysis, course, number)
    away = (number - 1) * pattern.step_degrees
    assert [h.root.letter for h in later] == [(h.root.letter + away) % 7 for h in first]
    assert [h.start_units for h in later] == [h.start_units for h in first]
    assert len(figures_at(analysis, course, number)) == len(first)


@given(name=st.sampled_from(sorted(TEXTURES)), key=st.sampled_from(KEYS))
def test_main_notes_are_the_links_own_and_move_by_the_step(name: str, key: Key) -> None:
    pattern = pattern_of(TEXTURES[name], key)
    analysis, course = analysed(pattern), Course(pattern)
    for number in (1, 2, 3):
        own = {s for s in course.spelled(number) if s is not None}
        assert {note.spelling for note in reduced(analysis, course, number)} <= own
    places = [
        [note.spelling.staff for note in reduced(analysis, course, number)] for number in (1, 2)
    ]
    assert {b - a for a, b in zip(*places, strict=True)} == {pattern.step_degrees}
    assert all(sum(row) == pattern.step_degrees for row in analysis.linear_motions)
    assert set(analysis.linear_steps) == {pattern.step_degrees}


@given(name=st.sampled_from(sorted(TEXTURES)), key=st.sampled_from(KEYS))
def test_main_notes_are_chord_notes_or_suspensions(name: str, key: Key) -> None:
    pattern = pattern_of(TEXTURES[name], key)
    analysis = analysed(pattern)
    spelled = Course(pattern).spelled(1)
    for note in analysis.reduction:
        here = [h for h in analysis.harmonies if h.start_units <= note.offset_units + 1e-6]
        harmony = here[-1] if here else analysis.harmonies[-1]
        pitch = spelled[note.position]
        assert pitch is not None
        above = (pitch.letter - note.suspended - harmony.root.letter) % 7
        assert above in (0, 2, 4, 6)


def test_time_goes_faster_or_slower_and_the_label_stays() -> None:
    for name, texture in TEXTURES.items():
        if name in ("seven six", "single line"):
            continue  # ambiguous: where a link is long, more harmonies are heard in it
        labels = {
            text(analysed(pattern_of(texture, C_MAJOR, unit_s))) for unit_s in (1.6, 2.0, 2.8)
        }
        assert len(labels) == 1, name


def test_roots_are_told_over_two_links_from_the_first_on() -> None:
    pattern = pattern_of(TEXTURES["four voices"], A_MINOR)
    roots = roots_told(analysed(pattern), Course(pattern))
    assert roots == ((0.0, "A"), (0.5, "D"), (1.0, "G"), (1.5, "C"))


def test_what_holds_at_the_links_start_is_told_there() -> None:
    """A harmony that begins before the link's edge and goes on holds at its start, too."""
    model = ((0.25, 0.5, "C3"), (0.25, 0.5, "E4"), (0.25, 0.5, "G4"),
             (0.75, 0.5, "F2"), (0.75, 0.5, "F4"), (0.75, 0.5, "A4"))  # fmt: skip
    pattern = pattern_of(Texture(model=model, step=-1, cells=2), C_MAJOR)
    roots = roots_told(analysed(pattern), Course(pattern))
    assert roots[0] == (0.0, "G")
    assert [name for _, name in roots[1:]] == ["C", "F", "B", "E"]


def test_a_change_late_in_a_long_even_run_is_heard() -> None:
    run = even(16, "C4 E4 G4 C5 G4 E4 C4 E4 G4 C5 G4 E4 F4 A4 C5 F5")
    pattern = pattern_of(Texture(model=run, step=-1, cells=2), C_MAJOR)
    roots = roots_told(analysed(pattern), Course(pattern))
    assert roots == ((0.0, "C"), (0.75, "F"), (1.0, "B"), (1.75, "E"))


def test_a_suspension_into_the_next_link_resolves_there() -> None:
    """The upper voice is tied over the link's edge, a seventh that resolves to the sixth.

    Touch: keys come up a tenth before their time.
    """
    model = (
        (0.25, 1.0, "E3"),  # held until the next bass
        (0.25, 0.5, "G4"),
        (0.5, 1.0, "C5"),  # tied over into the next link: D above the next bass, then C
    )
    pattern = pattern_of(Texture(model=model, step=-1, cells=1), C_MAJOR)
    analysis = analysed(pattern)
    suspended = [note for note in analysis.reduction if note.suspended]
    assert [round(note.offset_units, 6) for note in suspended] == [1.25]
    assert analysis.label is not None
    assert "with 7-6 suspensions" in analysis.label.variants


_PITCHES = st.integers(min_value=14, max_value=48).map(C_MAJOR.natural)


@st.composite
def _anything(draw: st.DrawFn) -> Pattern:
    """Any notes at all in two or three links, some missing in some."""
    step = draw(st.sampled_from((-4, -2, -1, 1, 2, 3)))
    links = draw(st.integers(min_value=2, max_value=3))
    positions = []
    for _ in range(draw(st.integers(min_value=1, max_value=12))):
        model = draw(_PITCHES)
        heard = [C_MAJOR.natural(model.staff + step * k) for k in range(links)]
        missing = draw(st.none() | st.integers(min_value=0, max_value=links - 1))
        positions.append(
            Position(
                offset_units=draw(st.floats(min_value=-0.05, max_value=0.999)),
                articulation=draw(st.floats(min_value=0.001, max_value=1.6)),
                velocity=64,
                channel=0,
                heard=tuple(None if k == missing else pitch for k, pitch in enumerate(heard)),
            )
        )
    positions.sort(key=lambda p: p.offset_units)
    plain = pattern_of(TEXTURES["two voices"], C_MAJOR)
    return replace(
        plain,
        step_degrees=step,
        positions=tuple(positions),
        unit_s=draw(st.floats(min_value=0.3, max_value=12.0)),
        starts_s=(0.0, 1.0),
        links_heard=links,
    )


@given(pattern=_anything())
def test_whatever_is_played_is_analysed(pattern: Pattern) -> None:
    analysis, course = analysed(pattern), Course(pattern)
    assert analysis.label is not None
    moved = sum(analysis.label.motions)
    assert (moved - pattern.step_degrees) % 7 == 0
    starts = [harmony.start_units for harmony in analysis.harmonies]
    assert starts == sorted(set(starts))
    assert all(0.0 <= start < 1.0 for start in starts)
    for number in (analysis.link, analysis.link + 1, analysis.link + 4):
        assert len(numerals_at(analysis, course, number)) == len(starts)
        assert all(note.duration_s > 0 for note in reduced(analysis, course, number))
    assert roots_told(analysis, course)[0][0] == 0.0
