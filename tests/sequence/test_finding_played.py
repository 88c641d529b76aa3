"""Finds do not depend on where and how fast, and are what the live engine hears when played."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from livecont.music.pitch import Spelling
from livecont.music.score import Score
from livecont.sequence.chain import Chain
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sequence.finding import Search, find_sequences, pattern_in
from livecont.sequence.finding_pattern import QUARTER_S
from livecont.sequence.listener import Listener
from tests.sequence.paper import BASS, ELSE, ELSE_BASS, FIGURE, find, links, motions, paper
from tests.strategies import PIANO

PIECE = (
    f"{ELSE} {links(FIGURE, -1, 4)} {ELSE} {links(FIGURE, 2, 2)}",
    f"{ELSE_BASS} {links(BASS, -1, 4)} {ELSE_BASS} {links(BASS, 2, 2)}",
)


def test_moved_in_pitch_and_time_it_is_the_same() -> None:
    score = paper(*PIECE)
    before = motions(find(score))
    higher = tuple(
        replace(n, spelling=Spelling(n.spelling.staff + 3, n.spelling.alter)) for n in score.notes
    )
    assert motions(find(replace(score, notes=higher))) == before
    slower = replace(
        score,
        notes=tuple(
            replace(n, onset_q=n.onset_q * 2, duration_q=n.duration_q * 2) for n in score.notes
        ),
        bars=tuple(replace(b, start_q=b.start_q * 2, length_q=b.length_q * 2) for b in score.bars),
        meters=tuple(replace(m, beat_type=2) for m in score.meters),
    )
    doubled = find(slower, longest_q=Fraction(16), shortest_q=Fraction(3, 2))
    assert motions(doubled) == [(2 * at, 2 * unit, step, n) for at, unit, step, n in before]


def test_the_order_of_notes_of_one_time_does_not_matter() -> None:
    score = paper(*PIECE)
    other = sorted(score.notes, key=lambda n: (n.onset_q, -n.spelling.staff))
    assert motions(find(replace(score, notes=tuple(other)))) == motions(find(score))


def test_what_is_found_on_paper_is_heard_when_played() -> None:
    """The live engine, told the first two links, hears the same unit, step and next link."""
    score = paper(*PIECE)
    (found, *_) = find(score)
    events = played(score, Fraction(0), found.start_q + 2 * found.unit_q)
    listener = Listener(found.key)
    prospect = None
    for event in events:
        prospect = listener.hear(event) or prospect
    assert prospect is not None
    heard = listener.pattern(prospect, float(found.start_q + 2 * found.unit_q) * QUARTER_S)
    assert heard.step_degrees == found.step_degrees
    assert heard.unit_s == pytest.approx(float(found.unit_q) * QUARTER_S, abs=0.01)
    live = next(iter(Chain(pattern=heard, compass=PIANO).plain()))
    two = replace(found, links=2)
    paper_link = next(iter(Chain(pattern=pattern_in(score, two), compass=PIANO).plain()))
    assert sorted(n.pitch for n in live.notes) == sorted(n.pitch for n in paper_link.notes)


def played(score: Score, start_q: Fraction, end_q: Fraction) -> list[PlayerEvent]:
    """Return a stretch as an even player would play it."""
    events: list[PlayerEvent] = []
    for note in score.within(start_q, end_q):
        at_s, lasts_s = float(note.onset_q) * QUARTER_S, float(note.duration_q) * QUARTER_S
        pitch = note.spelling.midi
        events.append(KeyDown(at_s=at_s, pitch=pitch, velocity=70))
        events.append(KeyUp(at_s=at_s + 0.9 * lasts_s, pitch=pitch))
    return sorted(events, key=lambda event: (event.at_s, isinstance(event, KeyDown)))


def test_empty_and_tiny_scores() -> None:
    for line in ("C5/4", "r/4 C5/1", "C5/1 D5/1 E5/1"):
        assert find_sequences(paper(line), Search(compass=PIANO)) == ()
    assert find_sequences(replace(paper("C5/4"), notes=()), Search(compass=PIANO)) == ()
