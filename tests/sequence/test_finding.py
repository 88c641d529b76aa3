"""What is found on paper, what is no sequence, who takes part, and what is told of it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.errors import ScoreError
from livecont.music.pitch import Spelling
from livecont.music.score import Score, ScoreNote
from livecont.sequence.chain import Chain
from livecont.sequence.finding import Find, Off, pairs_in, pattern_in
from livecont.sequence.finding_listed import as_json, listed
from livecont.sequence.finding_pattern import QUARTER_S
from livecont.sequence.finding_textures import part_named
from livecont.sequence.pattern import Kind
from tests.sequence.paper import (
    BASS,
    ELSE,
    ELSE_BASS,
    FIGURE,
    find,
    links,
    motions,
    moved,
    paper,
)
from tests.strategies import PIANO


def test_a_sequence_in_free_music() -> None:
    score = paper(
        f"{ELSE} {links(FIGURE, -1, 4)} {ELSE}", f"{ELSE_BASS} {links(BASS, -1, 4)} {ELSE_BASS}"
    )
    (found,) = find(score, least_links=3)
    assert motions((found,)) == [(4, 4, -1, 4)]
    assert found.parts == ("all",)
    assert found.exact == (1.0, 1.0, 1.0)
    assert found.kind is Kind.TONAL
    assert found.key.name == "C major"
    assert score.place(found.start_q).bar == "2"
    assert found.break_off.at_q == found.end_q == 20


@settings(max_examples=60)
@given(
    step=st.sampled_from((-4, -3, -2, -1, 1, 2, 3, 4)),
    count=st.integers(3, 5),
    unit=st.sampled_from((4, 6, 8, 12, 16, 24)),  # sixteenths
    heights=st.lists(st.integers(0, 7), min_size=24, max_size=24),
    lead=st.integers(0, 3),
)
def test_what_is_written_is_found(
    step: int, count: int, unit: int, heights: list[int], lead: int
) -> None:
    """Any model without a period of its own, in sixteenths, after some bars of other music."""
    model = heights[:unit]
    notes = []
    for bar, place in ((bar, place) for bar in range(lead) for place in range(4)):
        notes.append((Fraction(4 * bar + place), 28 + (3 * place + bar * bar) % 5))
    for copy in range(count):
        for place, height in enumerate(model):
            at_q = Fraction(4 * lead) + Fraction(copy * unit + place, 4)
            notes.append((at_q, 28 + height + copy * step))
    found = find(score_of(notes), least_links=3, least_exact=1.0)
    expected = (Fraction(4 * lead), Fraction(unit, 4), step)
    line = [height + copy * step for copy in range(count) for height in model]
    if is_plain(line, unit):
        assert any(told_as(f, expected, count) for f in found), (model, motions(found))


def score_of(notes: list[tuple[Fraction, int]]) -> Score:
    """Return a score of one staff of sixteenths and quarters on natural notes."""
    made = tuple(
        ScoreNote(onset_q=at_q, duration_q=Fraction(1, 4), spelling=Spelling(staff, 0))
        for at_q, staff in notes
    )
    return replace(paper("C5/4 " * (int(notes[-1][0]) // 4 + 1)), notes=made)


def is_plain(line: list[int], unit: int) -> bool:
    """Whether no other lag than the unit, or a part or multiple of it, repeats anything in a line.

    Settled on the written notes alone. Models of few different sonorities are scales and chords.
    """
    if len(set(line[:unit])) < min(4, unit):
        return False
    for lag in range(2, len(line) // 2 + 1):
        if lag % unit == 0:
            continue
        same = [line[at + lag] - line[at] for at in range(len(line) - lag)]
        if any(same[at : at + 4] == [same[at]] * 4 for at in range(len(same) - 3)):
            return False
    return len({height % 7 for height in line}) > 4


def told_as(one: Find, expected: tuple[Fraction, Fraction, int], count: int) -> bool:
    start_q, unit_q, step = expected
    held = min(one.end_q, start_q + count * unit_q) - max(one.start_q, start_q)
    return (one.unit_q, one.step_degrees) == (unit_q, step) and held >= (count - 1) * unit_q


# --- no sequences -------------------------------------------------------------------------------

SCALE = " ".join(f"{name}{octave}/1/4" for octave in (3, 4, 5) for name in "CDEFGAB")


@pytest.mark.parametrize(
    "line",
    [
        SCALE,
        " ".join(reversed(SCALE.split())),
        links("C5/1/4 D5/1/4 C5/1/4 D5/1/4 C5/1/4 D5/1/4 C5/1/4 D5/1/4", 0, 6),  # a trill
        links(FIGURE, 0, 4),  # repeated exactly
        links("C3/1/4 E3/1/4 G3/1/4 C4/1/4", 0, 6),
        " ".join(f"{n}{o}/1/4" for o in (2, 3, 4, 5, 6) for n in "CEG"),  # an arpeggio
        "C3/1/4 E3/1/4 G3/1/4 C4/1/4 E3/1/4 G3/1/4 C4/1/4 E4/1/4 G3/1/4 C4/1/4 E4/1/4 G4/1/4",
        links("C5/1/4 C5/1/4 C5/1/4 C5/1/4", -1, 8),  # a scale of repeated notes
        links("C4+E4/1/2 C4+E4/1/2 C5+E5/1", 1, 6),  # and of repeated thirds
        links("C4+E4+G4/1/2 D4+F4+A4/1/2", 2, 6),  # and of chords side by side
    ],
    ids=[
        "scale up", "scale down", "trill", "repeat", "broken chord", "arpeggio", "rolled chord",
        "drum", "drum of thirds", "parallel chords",
    ],
)  # fmt: skip
def test_what_is_no_sequence(line: str) -> None:
    """Common practice: scales, arpeggios, exact repeats and trills are none."""
    assert find(paper(f"{ELSE} {line} {ELSE}")) == ()


def test_free_music_has_none() -> None:
    line = f"{ELSE} C5/2 B4/1 D5/1 G5/3/2 F5/1/2 E5/1 A4/1 B4/1/2 C5/3/2 D5/2 C5/4"
    assert find(paper(line, f"{ELSE_BASS} F3/1 D3/3 G3/2 G2/2 C3/1 A2/3 C3/4 C3/4")) == ()


# --- units, phases, nesting ---------------------------------------------------------------------


def test_the_shortest_unit_is_told_with_all_its_links() -> None:
    """Eight links of two beats are no four links of a bar."""
    model = "C5/1/2 E5/1/2 D5/1/4 C5/1/4 B4/1/2"
    (found,) = find(paper(f"{ELSE} {links(model, -1, 8)} {ELSE}"))
    assert motions((found,)) == [(4, 2, -1, 8)]


def test_links_begin_with_the_bar_where_nothing_speaks_against_it() -> None:
    """The last note before the sequence could be read as a part of it: the bar decides."""
    line = f"r/3 D4/1/2 B4/1/2 {links(FIGURE, -1, 3)} {ELSE}"
    (found,) = find(paper(line), least_links=3)
    assert found.start_q == 4


def test_an_upbeat_model() -> None:
    upbeat = "G4/1/2 A4/1/2 C5/1 B4/1/2 E5/1/2 C5/1"  # four beats from the fourth on
    line = f"E4/3 {links(upbeat, 1, 3)} D4/1"
    (found,) = find(paper(line), least_links=3)
    assert motions((found,)) == [(3, 4, 1, 3)]
    assert score_place(paper(line), found.start_q) == ("1", 4)


def score_place(score: Score, at_q: Fraction) -> tuple[str, float]:
    place = score.place(at_q)
    return place.bar, float(place.beat)


def test_the_inner_pattern_is_told_within_the_longer_chain() -> None:
    inner = links("C5/1/4 D5/1/4 E5/1/4 C5/1/4", -2, 3)
    model = f"{inner} B5/1/2 G5/1/2"
    score = paper(f"{ELSE} {links(model, -1, 4)} {ELSE}")
    found = find(score, least_links=3)
    outer = next(f for f in found if f.within is None)
    assert motions((outer,)) == [(4, 4, -1, 4)]
    inside = [found[number] for number in outer.inner]
    assert {(float(f.unit_q), f.step_degrees, f.links) for f in inside} == {(1, -2, 3)}
    assert len(inside) == 4
    assert all(found[f.within] is outer for f in inside if f.within is not None)
    (told,) = listed(score, found)[found.index(outer)].inside
    assert told.step_degrees == -2


def test_near_copies_and_how_exact_they_are() -> None:
    varied = FIGURE.replace("E5", "F5")  # one note of seven is another in link 2
    line = f"{ELSE} {FIGURE} {moved(varied, -1)} {moved(FIGURE, -2)} {ELSE}"
    (found,) = find(paper(line), least_links=3)
    assert list(found.exact) == pytest.approx([12 / 14, 12 / 14])
    assert find(paper(line), least_links=3, least_exact=0.9) == ()


def test_pairs_have_to_be_exact_and_long_enough() -> None:
    pair = f"{ELSE} {links(FIGURE, 1, 2)} {ELSE}"
    assert motions(find(paper(pair))) == [(4, 4, 1, 2)]
    assert find(paper(pair), least_links=3) == ()
    inexact = f"{ELSE} {FIGURE} {moved(FIGURE.replace('E5', 'F5'), 1)} {ELSE}"
    assert find(paper(inexact)) == ()
    short = f"{ELSE} {links('C5/1 E5/1 D5/1 A4/1', 1, 2)} {ELSE}"
    assert find(paper(short)) == ()


@pytest.mark.parametrize(
    "model",
    [
        "C4/1/2 D4/1/2 E4/1/2 F4/1/2 G4/1/2 A4/1/2 B4/1/2 C5/1/2",  # a scale, begun anew
        "C4/1/2 E4/1/2 C4/1/2 E4/1/2 C4/1/2 E4/1/2 C4/1/2 E4/1/2 C4/1/2 E4/1/2 C4/1/2 E4/1/2",
        "C4/1/2 E4/1/2 G4/1/2 C4/1/2 E4/1/2 G4/1/2 C4/1/2 E4/1/2 G4/1/2 C4/1/2 E4/1/2 G4/1/2 "
        "C4/1/2 E4/1/2 G4/1/2 C4/1/2 E4/1/2 G4/1/2 C4/1/2 E4/1/2 G4/1/2 C4/1/2 E4/1/2 G4/1/2",
    ],
    ids=["scale", "trill", "broken chord"],
)
def test_a_pair_of_figurations_is_none(model: str) -> None:
    assert find(paper(f"{ELSE} {links(model, -2, 2)} {ELSE}"), longest_q=Fraction(12)) == ()


def test_a_chromatic_scale_in_repeated_notes_is_none() -> None:
    names = ("C4", "C#4", "D4", "D#4", "E4", "F4", "F#4", "G4", "G#4", "A4")
    line = " ".join(f"{name}/1/4 " * 4 for name in names)
    assert find(paper(f"{ELSE} {line} {ELSE}")) == ()


def test_grace_notes_count_for_nothing() -> None:
    score = paper(f"{ELSE} {links(FIGURE, -1, 3)} {ELSE}")
    grace = ScoreNote(
        onset_q=Fraction(8), duration_q=Fraction(0), spelling=Spelling(40, 0), grace=True
    )
    notes = sorted((*score.notes, grace), key=lambda note: note.onset_q)
    assert find(replace(score, notes=tuple(notes))) == find(score)


# --- who takes part -----------------------------------------------------------------------------

FREE = "E4/2 C4/1 D4/1 G4/4 A4/1 B4/3/2 C5/1/2 F4/1 E4/2 D4/2"


def test_one_staff_while_the_other_moves_freely() -> None:
    score = paper(f"{links(FIGURE, -1, 4)} {ELSE}", f"{moved(FREE, -7)} {ELSE_BASS}")
    (found,) = find(score, least_links=3)
    assert found.parts == ("staff1",)
    assert find(score, least_links=3, staff=2) == ()
    assert motions(find(score, least_links=3, staff=1)) == motions((found,))


def test_parts_that_move_alike_are_one_find() -> None:
    names = ("Violin", "Viola", "Violin", "Bass")
    score = paper(
        f"{links(FIGURE, -1, 4)} {ELSE}",
        f"{FREE} {ELSE}",
        f"{moved('C4/4 G4/4 A4/1 F4/3 E4/4', -7)} {ELSE}",
        f"{links(BASS, -1, 4)} {ELSE_BASS}",
        parts=names,
    )
    (found,) = find(score, least_links=3)
    assert found.parts == ("Violin", "Bass")
    assert [who.part for who in found.who] == [0, 3]
    assert motions(find(score, least_links=3, part=3)) == [(0, 4, -1, 4)]


def test_a_voice_while_another_of_its_staff_is_free() -> None:
    score = paper(f"{links(FIGURE, -1, 4)} {ELSE}")
    free = paper(f"{moved(FREE, -7)}")
    under = (replace(note, voice=2) for note in free.notes)
    notes = sorted((*score.notes, *under), key=lambda note: note.onset_q)
    (found,) = find(replace(score, notes=tuple(notes)), least_links=3)
    assert found.parts == ("staff1",)
    assert [who.voice for who in found.who] == [1]


def test_parts_are_named_by_name_number_or_part_of_the_name() -> None:
    score = paper("C5/4", "C4/4", "C3/4", parts=("Violin 1", "Violin 2", "Cello"))
    assert [part_named(score, n) for n in ("cello", "1", "Violin 2", "cel")] == [2, 0, 1, 2]
    for name in ("Violin", "0", "4", ""):
        with pytest.raises(ScoreError, match="unknown part"):
            part_named(score, name)


# --- what is told -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("after", "how", "at_q"),
    [
        ("", Off.END, 12),
        (f"F4/1 {ELSE}", Off.OTHER, 12),
        (f"{moved('C5/1/2 E5/1/2 D5/1/2', -3)} G5/5/2", Off.LEFT, Fraction(27, 2)),
        (moved(FIGURE.replace("D5/1/2 B4", "F5/1/2 A4"), -3), Off.VARIED, 13),
    ],
)
def test_where_and_how_it_breaks_off(after: str, how: Off, at_q: Fraction) -> None:
    (found,) = find(paper(f"{links(FIGURE, -1, 3)} {after}"), least_links=3)
    assert (found.break_off.how, found.break_off.at_q) == (how, at_q)


def test_a_real_sequence() -> None:
    rising = "C4/1/2 E4/1/2 F4/1/2 A4/1/2 G4/1/2 F4/1/2 E4/1/2 D4/1/2"
    second = "D4/1/2 F#4/1/2 G4/1/2 B4/1/2 A4/1/2 G4/1/2 F#4/1/2 E4/1/2"
    third = "E4/1/2 G#4/1/2 A4/1/2 C#5/1/2 B4/1/2 A4/1/2 G#4/1/2 F#4/1/2"
    (found,) = find(paper(f"{rising} {second} {third} C4/4"), least_links=3)
    assert (found.kind, found.shift_semitones, found.step_degrees) == (Kind.REAL, 2, 1)


def test_links_left_are_those_of_the_chain() -> None:
    """Counted without working out every link, yet the same as the chain has."""
    for step, start in ((-1, FIGURE), (2, moved(FIGURE, -14)), (-3, FIGURE)):
        score = paper(f"{links(start, step, 3)} {ELSE}", f"{links(BASS, step, 3)} {ELSE_BASS}")
        (found,) = find(score, least_links=3)
        chain = Chain(pattern=pattern_in(score, found), compass=PIANO)
        assert found.left == sum(1 for _ in chain.plain()) > 0


def test_the_pattern_is_that_of_the_last_two_links() -> None:
    score = paper(f"{links(FIGURE, -1, 4)} {ELSE}", f"{links(BASS, -1, 4)} {ELSE_BASS}")
    (found,) = find(score, least_links=3)
    pattern, pairs = pattern_in(score, found), pairs_in(score, found)
    assert pattern.links_heard == 4
    assert pattern.unit_s == 4 * QUARTER_S
    assert len(pattern.positions) == len(pairs) == 11
    for position, pair in zip(pattern.positions, pairs, strict=True):
        assert pair.later is not None
        assert position.heard[1] == pair.later.spelling
        assert position.offset_units == (pair.later.onset_q - 12) / 4
    assert {pair.later.staff for pair in pairs if pair.later is not None} == {1, 2}
    link = next(iter(Chain(pattern=pattern, compass=PIANO).plain()))
    due = [n.spelling for n in paper(moved(FIGURE, -4), moved(BASS, -4)).notes]
    assert sorted(note.spelling for note in link.notes) == sorted(due)


def test_a_part_that_leaps_an_octave_keeps_its_new_one() -> None:
    bass = f"{BASS} {moved(BASS, -1)} {moved(BASS, 5)}"
    (found,) = find(paper(links(FIGURE, -1, 3), bass), least_links=3, least_exact=0.6)
    score = paper(links(FIGURE, -1, 3), bass)
    assert {p.later is None or p.earlier is None for p in pairs_in(score, found)} == {False}
    link = next(iter(Chain(pattern=pattern_in(score, found), compass=PIANO).plain()))
    assert sorted(n.spelling.name for n in link.notes if n.spelling.staff < 29) == sorted(
        word.partition("/")[0] for word in moved(BASS, 4).split()
    )


def test_bars_and_beats_and_json() -> None:
    score = paper(f"G4/1 {links(FIGURE, -1, 3)} {ELSE}", pickup=Fraction(1))
    (one,) = listed(score, find(score, least_links=3))
    assert (one.start.bar, float(one.start.beat)) == ("1", 1.0)
    assert (one.end.bar, float(one.end.beat), float(one.last_bar_beats)) == ("3", 5.0, 4.0)
    fields = as_json("piece.mxl", one)
    assert fields["start_q"] == 1.0
    assert fields["end_q"] == 13.0
    assert (fields["unit_quarters"], fields["unit_beats"], fields["links"]) == (4.0, 4.0, 3)
    assert (fields["parts"], fields["kind"]) == ("all", "tonal")
    assert fields["doubt"] == "one line alone: its harmony is only implied"


def test_only_what_touches_some_bars() -> None:
    score = paper(f"{links(FIGURE, -1, 3)} {ELSE} {links(moved(FIGURE, 2), 1, 3)} {ELSE}")
    assert len(find(score, least_links=3)) == 2
    (found,) = find(score, least_links=3, within_q=score.bars_span("3", "4"))
    assert found.start_q == 0
    assert find(score, least_links=3, within_q=score.bars_span("4", "4")) == ()
    with pytest.raises(ScoreError, match="no bar 99: the bars are 1 to 8"):
        score.bars_span("1", "99")
    with pytest.raises(ScoreError, match="bar 2 comes before bar 5"):
        score.bars_span("5", "2")


def test_a_find_is_told_with_its_label() -> None:
    """Roots C F | B E | A D: descending fifths, D2 (D5/A4) (common practice)."""
    upper = "E5/1 G5/1/2 E5/1/2 C5/1 A4/1/2 F4/1/2"
    lower = "C3/2 F3/2"
    (found,) = find(paper(links(upper, -1, 3), links(lower, -1, 3)), least_links=3)
    assert (found.label, found.doubt) == ("D2 (D5/A4)", None)
