"""Questions made by lot: the true answer is the chain's, alterations are always to be heard."""

from __future__ import annotations

import random  # noqa: TID251 -- seeded
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.config import load_preferences
from livecont.ear.altering import altered
from livecont.ear.asked import Exercise, Item, Source
from livecont.ear.inventing import SCHEMES, TEXTURES, Scheme, invent
from livecont.ear.matter import in_key
from livecont.ear.models import model, model_names
from livecont.ear.questions import Library, Question, links_of, question
from livecont.ear.setup import Odd, load_setup
from livecont.music.key import parse_key
from livecont.sequence.analysis import analysed
from livecont.sequence.chain import Chain
from livecont.sequence.pattern import Kind, Link

COMPASSES = load_preferences().compasses
MODERN = COMPASSES["modern"]
SETUP = load_setup(MODERN)
LIBRARY = Library(levels=SETUP.levels, compass=MODERN, small=COMPASSES["piano-ff-f3"])
KEYS = ("C major", "G major", "Eb major", "a minor", "c# minor", "f minor")

items = st.builds(
    Item,
    exercise=st.sampled_from(list(Exercise)),
    source=st.just(Source.MADE),
    name=st.sampled_from(sorted(TEXTURES)),
    key=st.sampled_from(KEYS),
    level=st.integers(1, len(SETUP.levels)),
    seed=st.integers(0, 2**32 - 1),
)


def sound_of(link: Link) -> list[tuple[float, int]]:
    return sorted((round(note.offset_s, 4), note.pitch) for note in link.notes)


def rule_of(asked: Question) -> tuple[Link, ...]:
    """The chain as its rule has it, from the model to the last link that sounded and one more."""
    last = max(link.number for link in asked.links)
    return links_of(Chain(pattern=asked.matter.pattern, compass=MODERN), last + 1)


@settings(max_examples=40)
@given(items)
def test_an_item_always_makes_the_same_question(item: Item) -> None:
    assert question(item, LIBRARY) == question(item, LIBRARY)


@settings(max_examples=40)
@given(items)
def test_nothing_but_the_odd_link_is_altered_and_it_always_is(item: Item) -> None:
    asked = question(item, LIBRARY)
    if asked is None:
        return
    rule = {link.number: link for link in rule_of(asked)}
    changed = [link for link in asked.links if sound_of(link) != sound_of(rule[link.number])]
    if asked.odd is None:
        assert changed == []
        return
    assert [link.number for link in changed] == [asked.odd.link.number]
    due, heard = set(sound_of(rule[changed[0].number])), set(sound_of(changed[0]))
    assert len(due - heard) == len(heard - due) == 1
    assert asked.odd.link.number > 2
    assert asked.odd.hard == (asked.odd.due.staff == asked.odd.heard.staff)
    if asked.odd.hard:
        assert abs(asked.odd.due.alter - asked.odd.heard.alter) == 1
    else:
        assert abs(asked.odd.due.staff - asked.odd.heard.staff) >= 1


@settings(max_examples=40)
@given(items)
def test_the_due_link_is_the_model_moved_twice_by_the_step(item: Item) -> None:
    asked = question(item, LIBRARY)
    if asked is None or asked.due is None:
        return
    key, step = asked.matter.pattern.key, asked.matter.pattern.step_degrees
    first = [note.spelling.staff + 2 * step for note in asked.links[0].notes]
    assert [note.spelling for note in asked.due.notes] == [key.natural(staff) for staff in first]


@settings(max_examples=40)
@given(items)
def test_the_links_left_are_those_that_have_keys(item: Item) -> None:
    asked = question(item, LIBRARY)
    if asked is None or asked.left is None:
        return
    step = asked.matter.pattern.step_degrees
    key = asked.matter.pattern.key
    places = [note.spelling.staff for note in asked.links[-1].notes]
    count = 0
    while all(key.natural(staff + (count + 1) * step).midi in LIBRARY.small for staff in places):
        count += 1
    assert asked.left == count


@settings(max_examples=40)
@given(items)
def test_the_true_name_is_among_the_names_once(item: Item) -> None:
    asked = question(item, LIBRARY)
    if asked is None or not asked.names:
        return
    assert asked.matter.label is not None
    texts = [name.text for name in asked.names]
    assert texts.count(asked.matter.label.text) == 1
    assert len(texts) == len(set(texts)) == LIBRARY.level(item.level).names


@pytest.mark.parametrize("exercise", Exercise)
def test_every_level_has_questions_of_every_exercise(exercise: Exercise) -> None:
    for level, made in enumerate(SETUP.levels, 1):
        textures = sorted(TEXTURES) if exercise is Exercise.NAME_IT else made.textures
        found = [
            question(
                Item(
                    exercise=exercise, source=Source.MADE, name=name, key=key, level=level, seed=s
                ),
                LIBRARY,
            )
            for name in textures
            for key in ("C major",)
            for s in range(2)
        ]
        assert sum(one is not None for one in found) >= len(found) / 3, level


@pytest.mark.parametrize("name", model_names())
@pytest.mark.parametrize("exercise", [Exercise.STEP, Exercise.HOW_MANY])
def test_every_model_makes_questions_in_its_own_and_in_another_key(
    name: str, exercise: Exercise
) -> None:
    own = model(name).pattern.key
    other = parse_key("c minor" if own.minor else "Eb major")
    for key in (own, other):
        item = Item(
            exercise=exercise, source=Source.MODEL, name=name, key=key.name, level=8, seed=1
        )
        assert question(item, LIBRARY) is not None


@pytest.mark.parametrize("name", model_names())
def test_a_model_in_another_key_and_back_is_the_model(name: str) -> None:
    pattern = model(name).pattern
    there = in_key(pattern, parse_key("b minor" if pattern.key.minor else "Ab major"))
    assert in_key(there, pattern.key).positions == pattern.positions
    assert there.kind == pattern.kind


# --- models made by lot -------------------------------------------------------------------------

schemes = st.sampled_from(sorted(SCHEMES.values(), key=lambda one: one.name))


@settings(max_examples=40)
@given(st.sampled_from(sorted(TEXTURES)), schemes, st.sampled_from(KEYS), st.integers(0, 10**6))
def test_what_is_made_is_tonal_and_has_its_label(
    texture: str, scheme: Scheme, key: str, seed: int
) -> None:
    made = invent(texture, scheme, parse_key(key), 0.6, random.Random(seed))
    assert made.pattern.kind is Kind.TONAL
    assert made.pattern.step_degrees == scheme.step_degrees
    if made.label is not None:  # the engine, told only the notes, hears the same
        heard = analysed(made.pattern).label
        assert heard is not None
        assert heard.text == made.label.text


@settings(max_examples=40)
@given(schemes, st.sampled_from(KEYS), st.integers(0, 10**6))
def test_block_chords_make_no_parallel_fifths_or_octaves(
    scheme: Scheme, key: str, seed: int
) -> None:
    """Common practice, all four voices, into the next link too."""
    made = invent("chords", scheme, parse_key(key), 0.6, random.Random(seed))
    chords: dict[float, list[int]] = {}
    for link in (0, 1):
        for position in made.pattern.positions:
            heard = position.heard[link]
            assert heard is not None
            chords.setdefault(round(link + position.offset_units // 0.5 / 2, 3), []).append(
                heard.staff
            )
    voices = [sorted(set(chord)) for _, chord in sorted(chords.items())]
    for one, two in pairwise(voices):
        if len(one) != 4 or len(two) != 4:
            continue
        for i, j in combinations(range(4), 2):
            before, after = one[j] - one[i], two[j] - two[i]
            moves = one[i] != two[i]
            assert not (moves and before % 7 == after % 7 and before % 7 in (0, 4)), (one, two)


@settings(max_examples=40)
@given(st.integers(0, 10**6), st.sampled_from(list(Odd)), schemes, st.sampled_from(KEYS))
def test_an_accidental_leads_out_of_every_form_of_the_scale(
    seed: int, odd: Odd, scheme: Scheme, key: str
) -> None:
    dice = random.Random(seed)
    made = invent("broken", scheme, parse_key(key), 0.6, dice)
    link = links_of(Chain(pattern=made.pattern, compass=MODERN), 3)[2]
    found = altered(link, made.pattern.key, MODERN, odd, dice)
    if found is None:
        return
    assert found.hard == (odd is Odd.ACCIDENTAL)
    scale = {made.pattern.key.natural(staff).midi % 12 for staff in range(7)}
    if made.pattern.key.minor:  # the raised sixth and seventh (common practice)
        tonic = made.pattern.key.tonic_pitch_class
        scale |= {(tonic + 9) % 12, (tonic + 11) % 12}
    assert (found.heard.midi % 12 in scale) == (not found.hard)
    away = abs(found.heard.staff - found.due.staff)
    assert {Odd.LEAP: away >= 2, Odd.STEP: away == 1, Odd.ACCIDENTAL: away == 0}[odd]
