"""Folding and turning: where the chain leaps, where it turns, and that it never leaves the keys."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.music.clarity import CLEAR
from livecont.music.compass import Compass
from livecont.music.key import Key, parse_key
from livecont.music.spectrum import SPECTRA
from livecont.sequence.chain import Chain
from livecont.sequence.endings import Ending, Limit
from livecont.sequence.endings_course import Course, Place
from livecont.sequence.endings_kind import of_kind
from livecont.sequence.events import KeyDown, KeyUp
from livecont.sequence.pattern import Kind, Link, Pattern, Role
from livecont.sitting.events import Settings
from livecont.sitting.virtual import run, take_overs
from tests import strategies
from tests.sequence.textures import FIVE_OCTAVES, KEYS, PIANO, SHORT, TEXTURES, Texture, pattern_of

C_MAJOR, A_MINOR = parse_key("C major"), parse_key("a minor")
LONG = 60


def links_of(pattern: Pattern, compass: Compass, ending: Ending, **choices: object) -> list[Link]:
    chain = Chain(pattern=pattern, compass=compass, ending=ending, **choices)  # type: ignore[arg-type]
    return list(islice(chain.links(), LONG))


@st.composite
def patterns(draw: st.DrawFn) -> Pattern:
    """Any texture in any key, the step widened and turned round, real now and then."""
    texture = draw(st.sampled_from(list(TEXTURES.values())))
    step = draw(st.sampled_from([texture.step, -3, -2, -1, 1, 2, 3, 4]))
    texture = Texture(model=texture.model, step=step, cells=texture.cells)
    pattern = pattern_of(texture, draw(st.sampled_from(KEYS)))
    return of_kind(pattern, Kind.REAL) if draw(st.booleans()) else pattern


@settings(max_examples=60)
@given(
    patterns(),
    st.sampled_from([PIANO, FIVE_OCTAVES, SHORT]),
    st.sampled_from([Ending.FOLD, Ending.TURN]),
    st.sampled_from(list(Limit)),
    st.sampled_from(list(SPECTRA.values())),
)
def test_a_folded_or_turned_chain_never_leaves_the_compass(
    pattern: Pattern, compass: Compass, ending: Ending, limit: Limit, spectrum: object
) -> None:
    links = links_of(pattern, compass, ending, limit=limit, spectrum=spectrum)
    for link in links:
        assert compass.holds(note.pitch for note in link.notes)
        assert len(link.notes) == len(pattern.positions)
    assert [link.number for link in links] == list(range(3, 3 + len(links)))
    if limit is Limit.CLEAR and links and links[0].role is not Role.CHAIN:
        assert links[0].clarity is not None
        assert links[0].clarity >= CLEAR


@settings(max_examples=30)
@given(patterns(), st.sampled_from([Ending.FOLD, Ending.TURN]))
def test_a_fold_moves_octaves_and_a_turn_goes_back(pattern: Pattern, ending: Ending) -> None:
    course = Course(pattern)
    number, down = 2, pattern.step_degrees < 0
    for link in links_of(pattern, PIANO, ending):
        number += -1 if link.role is Role.TURNED else 1
        due = [s.midi for s in course.spelled(number) if s is not None]
        here = [note.pitch for note in link.notes]
        if ending is Ending.FOLD:
            octaves = {(a - b) / 12 for a, b in zip(here, due, strict=True)}
            assert len(octaves) == 1
            assert octaves.pop().is_integer()
        elif link.role is Role.CHAIN:
            assert here == due
    if ending is Ending.TURN:
        assert number in (1, 2, 3) or not down


@pytest.mark.parametrize("name", TEXTURES)
@pytest.mark.parametrize("compass", [PIANO, FIVE_OCTAVES], ids=lambda compass: compass.name)
def test_folding_has_no_end(name: str, compass: Compass) -> None:
    chain = Chain(pattern=pattern_of(TEXTURES[name], C_MAJOR), compass=compass, ending=Ending.FOLD)
    links = list(islice(chain.links(), 150))
    assert len(links) == 150
    folded = [link for link in links if link.role is Role.FOLDED]
    assert len(folded) >= 3
    # never at once again: there is room after a leap
    numbers = [link.number for link in folded]
    assert all(b - a > 1 for a, b in pairwise(numbers))


def test_folding_counts_all_links() -> None:
    links = links_of(pattern_of(TEXTURES["two voices"], C_MAJOR), PIANO, Ending.FOLD, most_links=17)
    assert len(links) == 17


def test_a_clear_chain_folds_before_the_mud() -> None:
    pattern = pattern_of(TEXTURES["four voices"], C_MAJOR, octaves=-1)
    links = links_of(pattern, PIANO, Ending.FOLD, limit=Limit.CLEAR)
    assert len(links) == LONG
    assert all(link.clarity is not None and link.clarity >= CLEAR for link in links)


def test_a_turn_comes_back_to_the_model_by_the_way_it_went() -> None:
    pattern = pattern_of(TEXTURES["running line"], C_MAJOR)
    links = links_of(pattern, FIVE_OCTAVES, Ending.TURN)
    there = [link for link in links if link.role is Role.CHAIN]
    back = [link for link in links if link.role is Role.TURNED]
    assert len(back) == len(there) + 1
    mirrored = [[n.pitch for n in link.notes] for link in reversed(there[:-1])]
    assert [[n.pitch for n in link.notes] for link in back[: len(mirrored)]] == mirrored
    model = [p.heard[0] for p in pattern.positions]
    assert [n.spelling for n in back[-1].notes] == model


def test_a_turn_does_not_go_back_to_a_played_link_that_has_no_key() -> None:
    """The player's model had a chromatic note that this instrument lacks: by its own pitches."""
    pattern = pattern_of(TEXTURES["running line"], C_MAJOR)
    first = pattern.positions[0]
    natural = first.heard[0]
    assert natural is not None
    raised = replace(natural, alter=natural.alter + 1)
    chromatic = replace(first, heard=(raised, *first.heard[1:]))
    pattern = replace(pattern, positions=(chromatic, *pattern.positions[1:]))
    lacking = replace(PIANO, absent=frozenset({raised.midi}))
    whole = links_of(pattern, PIANO, Ending.TURN, most_links=2)
    links = links_of(pattern, lacking, Ending.TURN, most_links=2)
    assert links == whole[:-1]
    assert raised.midi in [note.pitch for note in whole[-1].notes]


def test_a_turn_may_be_asked_for_after_some_links() -> None:
    pattern = pattern_of(TEXTURES["running line"], C_MAJOR)
    roles = [link.role for link in links_of(pattern, PIANO, Ending.TURN, most_links=4)]
    assert 1 <= roles.count(Role.CHAIN) <= 4
    assert roles.count(Role.TURNED) == roles.count(Role.CHAIN) + 1


def test_the_turn_avoids_parallels_at_the_turning_point() -> None:
    """Two voices whose join is a fifth after a fifth at some turns only: others are taken."""
    for key in (C_MAJOR, A_MINOR):
        for name in ("two voices", "four voices", "open chords", "falling thirds"):
            pattern = pattern_of(TEXTURES[name], key)
            links = links_of(pattern, PIANO, Ending.TURN)
            at = next(i for i, link in enumerate(links) if link.role is Role.TURNED)
            last, first = links[at - 1], links[at]
            end_s = max(n.offset_s for n in last.notes)
            before = sorted(n.pitch for n in last.notes if n.offset_s == end_s)
            after = sorted(n.pitch for n in first.notes if n.offset_s == 0)
            low, high = after[0] - before[0], after[-1] - before[-1]
            one, two = (before[-1] - before[0]) % 12, (after[-1] - after[0]) % 12
            assert not (low * high > 0 and one == two and one in (0, 7)), name


def test_suspensions_come_back_as_five_six() -> None:
    """A chain of 7-6 suspensions falls; rising again it is 5-6 (common practice)."""
    pattern = pattern_of(TEXTURES["seven six"], A_MINOR)
    for link in links_of(pattern, FIVE_OCTAVES, Ending.TURN):
        first_s = min(n.offset_s for n in link.notes)
        struck = sorted(
            (n.spelling.staff for n in link.notes if n.offset_s - first_s < 0.01), reverse=True
        )
        interval = (struck[0] - struck[-1]) % 7 + 1
        assert interval == (5 if link.role is Role.TURNED else 7)


def test_the_prepared_note_is_the_one_before() -> None:
    pattern = pattern_of(TEXTURES["seven six"], A_MINOR)
    links = links_of(pattern, FIVE_OCTAVES, Ending.TURN)
    for before, link in pairwise(links):
        if link.role is Role.TURNED:
            ended = max(before.notes, key=lambda n: (n.offset_s, n.pitch)).spelling
            began = max(n.spelling for n in link.notes if n.offset_s == 0)
            assert began == ended


@pytest.mark.parametrize("name", ["off the beat", "falling thirds", "parallel sixths"])
def test_parts_that_moved_by_different_octaves_fold_and_turn(name: str) -> None:
    """The left hand leaps up by an octave less the step: heard, and carried on."""
    pattern = pattern_of(TEXTURES[name], C_MAJOR)
    events: list[KeyDown | KeyUp] = []
    for number in (0, 1):
        for position in pattern.positions:
            spelled = position.heard[number]
            assert spelled is not None
            up = 12 if number == 1 and spelled.staff < 28 else 0
            at_s = (number + position.offset_units) * pattern.unit_s
            events.append(KeyDown(at_s=at_s, pitch=spelled.midi + up, velocity=70))
            up_s = at_s + position.articulation * pattern.unit_s
            events.append(KeyUp(at_s=up_s, pitch=spelled.midi + up))
    events.sort(key=lambda event: event.at_s)
    took = take_overs(run(Settings(key=C_MAJOR, compass=PIANO, most_links=1), events))
    assert took
    heard = took[-1].pattern
    for ending in (Ending.FOLD, Ending.TURN):
        links = links_of(heard, FIVE_OCTAVES, ending)
        assert len(links) > 5
        for link in links:
            assert FIVE_OCTAVES.holds(note.pitch for note in link.notes)
            assert len(link.notes) == len(pattern.positions)


@settings(max_examples=30)
@given(strategies.tonal_chains(), st.sampled_from(list(Ending)))
def test_whatever_is_heard_ends_in_some_way(written: strategies.Chain, ending: Ending) -> None:
    """Patterns of made-up chains as the listener hears them: every ending holds the compass."""
    events = strategies.perform(written).events
    took = take_overs(run(Settings(key=written.key, compass=PIANO, most_links=1), events))
    if not took:
        return
    for link in links_of(took[-1].pattern, PIANO, ending, limit=Limit.CLEAR):
        assert PIANO.holds(note.pitch for note in link.notes)
        assert link.notes


def test_the_course_repeats_itself_octaves_away() -> None:
    for name in ("running line", "falling thirds", "five six"):
        pattern = pattern_of(TEXTURES[name], C_MAJOR)
        course = Course(pattern)
        for number in range(20, 30):
            one, other = course.at(Place(number)), course.at(Place(number + course.lap))
            moved = {b.midi - a.midi for a, b in zip(one, other, strict=True) if a and b}
            assert moved == {12 * course.lap_octaves}


def test_a_real_chain_stays_exact_and_readable() -> None:
    pattern = of_kind(pattern_of(TEXTURES["four voices"], C_MAJOR), Kind.REAL)
    shift = pattern.shift_semitones
    assert shift is not None
    links = list(Chain(pattern=pattern, compass=PIANO).plain())
    for one, other in pairwise(links):
        moves = {b.pitch - a.pitch for a, b in zip(one.notes, other.notes, strict=True)}
        assert moves == {shift}
    for link in links:
        assert sum(abs(n.spelling.alter) for n in link.notes) <= 1.5 * len(link.notes)


def test_a_link_before_the_first_known_is_no_link() -> None:
    with pytest.raises(ValueError, match="before the first"):
        Course(pattern_of(TEXTURES["two voices"], Key(0, 0, "major"))).spelled(0)
