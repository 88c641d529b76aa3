"""A sequence on paper carried on: voices, bars, exact lengths, endings, and the way back."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.config import load_preferences
from livecont.errors import ScoreError
from livecont.music.key import parse_key
from livecont.music.score import Meter, Score, ScoreNote, Signature
from livecont.sequence.endings import Ending, Limit
from livecont.sequence.extending import Extension, Whose, Wish, extend
from livecont.sequence.extending_paper import passage_of
from livecont.sequence.finding import Find
from tests.sequence.paper import BASS, ELSE, ELSE_BASS, FIGURE, find, links, moved, paper
from tests.strategies import PIANO

Q = Fraction


def found_first(score: Score) -> Find:
    return next(one for one in find(score) if one.within is None)


def extension(score: Score, **wish: object) -> Extension:
    wished = Wish(compass=PIANO, **wish)  # type: ignore[arg-type]
    return extend(passage_of(score, found_first(score)), wished)


def told(notes: object, start_q: Fraction) -> list[tuple[Fraction, Fraction, str, int]]:
    """Return notes as (place in the link, length, name, staff)."""
    return sorted(
        (n.onset_q - start_q, n.duration_q, n.spelling.name, n.staff)
        for n in notes  # type: ignore[attr-defined]
    )


def as_written(words: str, staff: int) -> list[tuple[Fraction, Fraction, str, int]]:
    """Return words as the same values."""
    at_q, result = Q(0), []
    for word in words.split():
        names, _, length = word.partition("/")
        if names != "r":
            result += [(at_q, Q(length or 1), name, staff) for name in names.split("+")]
        at_q += Q(length or 1)
    return result


HANDS = paper(
    f"{links(FIGURE, -1, 3)} {ELSE} {ELSE}", f"{links(BASS, -1, 3)} {ELSE_BASS} {ELSE_BASS}"
)


def test_new_links_stand_on_the_staves_of_the_old_with_exact_lengths() -> None:
    longer = extension(HANDS, links=2)
    assert [(s.number, s.whose.value) for s in longer.spans] == [
        (1, "model"), (2, "given"), (3, "given"), (4, "new"), (5, "new"),
    ]  # fmt: skip
    for span in longer.new:
        wanted = [
            *as_written(moved(FIGURE, 1 - span.number), 1),
            *as_written(moved(BASS, 1 - span.number), 2),
        ]
        assert told(longer.of(span), span.start_q) == sorted(wanted)
    assert [(b.number, b.start_q, b.length_q) for b in longer.score.bars] == [
        (str(n + 1), Q(4 * n), Q(4)) for n in range(5)
    ]
    assert [(str(m.at_q), m.text) for m in longer.score.marks] == [
        ("0", "model"), ("4", "link 2"), ("8", "link 3"), ("12", "link 4, new"),
        ("16", "link 5, new"),
    ]  # fmt: skip


def test_the_composers_notes_stay_as_they_are() -> None:
    score = paper(
        f"{ELSE} {links(FIGURE, -1, 3)} {ELSE}", f"{ELSE_BASS} {links(BASS, -1, 3)} {ELSE_BASS}"
    )
    find_ = found_first(score)
    longer = extend(passage_of(score, find_, from_q=Q(0)), Wish(compass=PIANO, links=1))
    until_q = find_.end_q
    assert [n for n in longer.score.notes if n.onset_q < until_q] == [
        n for n in score.notes if n.onset_q < until_q
    ]
    assert longer.spans[0].start_q == 4


def test_triplets_stay_exact() -> None:
    model = "C5/1/3 E5/1/3 D5/1/3 B4/1/3 C5/1/3 G4/1/3 A4/1 F4/2/3 D4/1/3"
    longer = extension(paper(f"{links(model, -1, 3)} {ELSE}"), links=1)
    (new,) = longer.new
    assert told(longer.of(new), new.start_q) == sorted(as_written(moved(model, -3), 1))


def test_metre_key_and_bars_go_on_and_an_upbeat_stays_one() -> None:
    model = "C5/1/2 E5/1/2 D5/1/2 B4/1/2 C5/1/2 G4/1/2"
    score = paper(f"G4/1 {links(model, 1, 3)} A4/1 C5/2", beats=3, pickup=Q(1), fifths=0)
    find_ = found_first(score)
    longer = extend(passage_of(score, find_, from_q=Q(0)), Wish(compass=PIANO, links=2))
    bars = longer.score.bars
    assert [(b.number, str(b.length_q), b.pickup) for b in bars[:2]] == [
        ("0", "1", True), ("1", "3", False),
    ]  # fmt: skip
    assert [b.number for b in bars] == [str(n) for n in range(len(bars))]
    assert longer.score.meter_at(bars[-1].start_q).bar_q == 3


def test_later_changes_of_metre_and_key_do_not_come_along() -> None:
    later = replace(
        HANDS,
        meters=(*HANDS.meters, Meter(at_q=Q(12), beats=2, beat_type=2)),
        signatures=(*HANDS.signatures, Signature(at_q=Q(12), fifths=4)),
    )
    longer = extension(later, links=1)
    assert (longer.score.meters, longer.score.signatures) == (HANDS.meters, HANDS.signatures)


def test_who_does_not_take_part_is_silent_afterwards_and_not_held_over() -> None:
    free = "E3/3/2 G3/1/2 C3/2 A2/1 B2/3/2 C3/3/2 F3/3 D3/1 G2/8"
    score = paper(f"{links(FIGURE, -1, 3)} {ELSE}", free)
    find_ = next(one for one in find(score) if one.parts == ("staff1",))
    longer = extend(passage_of(score, find_), Wish(compass=PIANO, links=2))
    below = [n for n in longer.score.notes if n.staff == 2]
    assert below
    assert all(n.end_q <= 12 for n in below)
    assert {n.staff for span in longer.new for n in longer.of(span)} == {1}


def test_without_a_number_it_goes_to_the_limit() -> None:
    short = load_preferences().compasses["italian-short"]
    passage = passage_of(HANDS, found_first(HANDS))
    longer = extend(passage, Wish(compass=short))
    lowest = min(n.spelling.midi for n in longer.score.notes)
    assert lowest >= short.lowest
    assert longer.left == 0
    below = min(n.spelling.staff for n in longer.of(longer.new[-1])) - 1
    assert below < 7 * 2  # the next link would need a key below the lowest, C2
    clear = extend(passage, Wish(compass=PIANO, limit=Limit.CLEAR))
    assert 0 < len(clear.new) < len(extend(passage, Wish(compass=PIANO)).new)


def test_left_counts_the_links_that_would_have_room() -> None:
    every = len(extension(HANDS).new)
    assert extension(HANDS, links=2).left == every - 2
    assert extension(HANDS, links=0).left == every


def test_turning_comes_back_to_the_first_link_known() -> None:
    longer = extension(HANDS, links=3, ending=Ending.TURN)
    turned = [span for span in longer.spans if span.whose is Whose.TURNED]
    assert turned
    assert turned == list(longer.spans[-len(turned) :])
    bass = [min(n.spelling.staff for n in longer.of(span)) for span in turned]
    assert bass == sorted(bass)


def test_closing_ends_on_the_tonic_held_to_the_bar() -> None:
    longer = extension(HANDS, links=3, ending=Ending.CLOSE)
    last = longer.spans[-1]
    assert last.whose is Whose.CADENCE
    final = max(n.onset_q for n in longer.of(last))
    chord = [n for n in longer.of(last) if n.onset_q == final]
    assert {n.end_q for n in chord} == {last.end_q}
    assert min(chord, key=lambda n: n.spelling.midi).spelling.letter == 0  # C, in C major
    assert {n.staff for n in chord} == {1, 2}
    assert all(n.onset_q.denominator <= 4 for n in longer.score.notes)


def test_folding_without_a_number_has_an_end() -> None:
    longer = extension(HANDS, ending=Ending.FOLD)
    assert len(longer.new) == 14


# --- back into the piece --------------------------------------------------------------------------


def test_rejoining_lands_on_the_composers_last_link_and_goes_on_at_pitch() -> None:
    longer = extension(HANDS, ending=None)
    *_, last, piece = longer.spans
    assert len(longer.new) == 7  # seven steps come round
    assert sum(span.whose is Whose.FOLDED for span in longer.new) == 1  # an octave lower by then
    composers = longer.spans[2]
    assert told(longer.of(last), last.start_q) == told(longer.of(composers), composers.start_q)
    assert piece.whose is Whose.PIECE
    assert told(longer.of(piece), piece.start_q) == sorted(
        [*as_written(f"{ELSE} {ELSE}", 1), *as_written(f"{ELSE_BASS} {ELSE_BASS}", 2)]
    )
    assert longer.score.marks[-1].text == "the piece, bar 4"


def test_rejoining_in_the_middle_of_a_bar_keeps_the_pieces_bar_lines() -> None:
    """Seven links of half a bar: a short bar lets the piece go on at its own place in the bar."""
    model = "C5/1/2 E5/1/4 D5/1/4 B4/1/2 G4/1/2"
    score = paper(f"C5/2 {links(model, -1, 3)} {ELSE} {ELSE}")
    longer = extension(score, ending=None)
    piece = longer.spans[-1]
    short = [bar for bar in longer.score.bars if bar.length_q != 4]
    assert sum(bar.length_q for bar in longer.score.bars) == longer.score.length_q
    assert all(a.end_q == b.start_q for a, b in pairwise(longer.score.bars))
    assert longer.score.bars[longer.score.bar_index(piece.start_q)].start_q == piece.start_q
    assert len(short) == 1


def test_rejoining_by_about_as_many_links_as_wanted() -> None:
    assert len(extension(HANDS, ending=None, links=13).new) == 14


def test_rejoining_rising_thirds_leaps_down() -> None:
    model = "C4/1/2 E4/1/2 D4/1/2 B3/1/2 C4/1/2 G3/1/2 A3/1"
    longer = extension(paper(f"{links(model, 2, 3)} {ELSE} {ELSE}"), ending=None)
    assert len(longer.new) == 7
    assert sum(span.whose is Whose.FOLDED for span in longer.new) == 2  # seven thirds, two octaves
    heights = [min(n.spelling.midi for n in longer.of(span)) for span in longer.new]
    assert max(heights) - min(heights) < 20


def test_no_way_back_is_said() -> None:
    narrow = replace(PIANO, lowest=60, highest=77, title="an octave and a fourth")
    one = paper(f"{links('C5/1/2 F5/1/2 D5/1/2 G4/1/2 C5/1/2 G4/1/2 A4/1', -1, 2)} {ELSE} {ELSE}")
    passage = passage_of(one, found_first(one))
    with pytest.raises(ScoreError, match=r"no way back .* an octave and a fourth: try"):
        extend(passage, Wish(compass=narrow, ending=None))
    with pytest.raises(ScoreError, match="no room for another link"):
        extend(passage, Wish(compass=replace(narrow, lowest=65)))
    end = paper(links(FIGURE, -1, 3))
    with pytest.raises(ScoreError, match="nothing follows this sequence"):
        extension(end, ending=None)


def test_another_key_changes_the_accidentals() -> None:
    plain = paper(f"{links('C5/1/2 E5/1/2 D5/1/2 C5/1/2 E5/1 D5/1', -1, 3)} {ELSE}")
    assert "F#" not in _letters(extension(plain, links=3))
    find_ = replace(found_first(plain), key=parse_key("G major"))
    longer = extend(passage_of(plain, find_), Wish(compass=PIANO, links=3))
    assert "F#" in _letters(longer)


def _letters(longer: Extension) -> set[str]:
    return {n.spelling.letter_name for span in longer.new for n in longer.of(span)}


# --- always ---------------------------------------------------------------------------------------

FIGURES = st.lists(
    st.tuples(st.integers(28, 36), st.sampled_from([Q(1, 4), Q(1, 2), Q(1, 3), Q(1), Q(3, 2)])),
    min_size=6,
    max_size=10,
)
ENDINGS = st.sampled_from([None, *Ending])


@given(
    notes=FIGURES, step=st.sampled_from([-2, -1, 1, 2]), ending=ENDINGS, wanted=st.integers(1, 9)
)
@settings(max_examples=60)
def test_bars_join_and_notes_are_whole(
    notes: list[tuple[int, Fraction]], step: int, ending: Ending | None, wanted: int
) -> None:
    names = [f"{'CDEFGAB'[place % 7]}{place // 7}/{length}" for place, length in notes]
    score = paper(f"{links(' '.join(names), step, 3)} {ELSE} {ELSE}")
    for one in find(score)[:2]:
        try:
            longer = extend(
                passage_of(score, one), Wish(compass=PIANO, links=wanted, ending=ending)
            )
        except ScoreError:
            continue  # no room, no way back: said, not guessed
        bars = longer.score.bars
        assert bars[0].start_q == 0
        assert all(a.end_q == b.start_q for a, b in pairwise(bars))
        assert all(0 <= n.onset_q < n.end_q <= longer.score.length_q for n in longer.score.notes)
        assert all(a.end_q == b.start_q for a, b in pairwise(longer.spans))
        assert list(longer.score.notes) == sorted(longer.score.notes, key=_order)
        assert all(n.spelling.midi in PIANO for n in longer.score.notes)


def _order(note: ScoreNote) -> tuple[Fraction, int, int, int, bool, int]:
    return note.onset_q, note.part, note.staff, note.voice, not note.grace, note.spelling.staff
