"""Scores written as MIDI: read back by mido, by music21 and by our own reader."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
import pytest

from livecont.errors import ScoreError
from livecont.music.pitch import Spelling, spelling
from livecont.music.score import Bar, Mark, Meter, Part, Score, ScoreNote, Signature
from livecont.score.reading import read_score
from livecont.score.writing_midi import struck_of, write_midi
from tests.corpus import corpus_file
from tests.score.second import parsed

pytest.importorskip("partitura")
pytest.importorskip("music21")

Q = Fraction


def note(name: str, onset: str, length: str, **more: Any) -> ScoreNote:
    return ScoreNote(onset_q=Q(onset), duration_q=Q(length), spelling=spelling(name), **more)


def hands(*notes: ScoreNote) -> Score:
    return Score(
        parts=(Part(name="right"), Part(name="left")),
        notes=tuple(sorted(notes, key=lambda n: (n.onset_q, n.part))),
        bars=(
            Bar(number="1", start_q=Q(0), length_q=Q(3)),
            Bar(number="2", start_q=Q(3), length_q=Q(2)),
        ),
        meters=(
            Meter(at_q=Q(0), beats=6, beat_type=8),
            Meter(at_q=Q(3), beats=2, beat_type=4),
        ),
        signatures=(
            Signature(at_q=Q(0), fifths=-3, mode="minor"),
            Signature(at_q=Q(3), fifths=2, mode="major"),
        ),
        marks=(Mark(at_q=Q(3), text="link 2"),),
    )


def keys_down(track: Any) -> list[tuple[int, int, int]]:
    """Return (tick, end, pitch) of each note of a track."""
    down: dict[int, int] = {}
    found = []
    tick = 0
    for message in track:
        tick += message.time
        if message.type == "note_on" and message.velocity:
            assert message.note not in down, "struck while it is down"
            down[message.note] = tick
        elif message.type in ("note_on", "note_off"):
            found.append((down.pop(message.note), tick, message.note))
    assert not down
    return sorted(found)


def test_what_mido_reads(tmp_path: Path) -> None:
    score = hands(
        note("C5", "0", "1/3"), note("D5", "1/3", "1/3"), note("Eb5", "2/3", "7/3"),
        note("C3", "0", "5", part=1),
    )  # fmt: skip
    path = tmp_path / "piece.mid"
    write_midi(score, path, quarters_a_minute=60)
    file = mido.MidiFile(path)
    ticks = file.ticks_per_beat
    first = [m for m in file.tracks[0] if m.type != "end_of_track"]
    assert [(m.type, sum(x.time for x in first[: i + 1])) for i, m in enumerate(first)] == [
        ("set_tempo", 0), ("time_signature", 0), ("key_signature", 0),
        ("time_signature", 3 * ticks), ("key_signature", 3 * ticks), ("marker", 3 * ticks),
    ]  # fmt: skip
    assert first[0].tempo == 1_000_000
    assert [m.key for m in first if m.type == "key_signature"] == ["Cm", "D"]
    assert [t.name for t in file.tracks[1:]] == ["right", "left"]
    assert keys_down(file.tracks[1]) == [
        (0, ticks // 3, 72), (ticks // 3, 2 * ticks // 3, 74), (2 * ticks // 3, 3 * ticks, 75),
    ]  # fmt: skip
    assert keys_down(file.tracks[2]) == [(0, 5 * ticks, 48)]
    assert file.length == pytest.approx(5.0)


def test_a_key_is_struck_by_one_note_at_a_time() -> None:
    held, again, doubled = note("C4", "0", "4"), note("C4", "1", "1"), note("C4", "1", "2", voice=2)
    assert [(s.onset_q, s.end_q) for s in struck_of([held, again, doubled])] == [
        (Q(0), Q(1)),
        (Q(1), Q(3)),
    ]


def test_grace_notes_come_before() -> None:
    graces = [note("B4", "1", "0", grace=True), note("A4", "1", "0", grace=True)]
    struck = struck_of([*graces, note("C5", "1", "1")])
    assert [(s.onset_q, s.pitch) for s in struck] == [(Q(3, 4), 71), (Q(7, 8), 69), (1, 72)]
    assert struck_of([note("B4", "0", "0", grace=True)]) == ()


@pytest.mark.parametrize("name", ["fc09d8d3a8", "c9b078e497"])
def test_corpus_pieces_come_back(name: str, tmp_path: Path) -> None:
    """Keyboard and strings: music21 and our reader find every key that we strike."""
    score = read_score(corpus_file(name))
    path = tmp_path / "piece.mid"
    write_midi(score, path)
    wanted: Counter[tuple[Fraction, int]] = Counter()
    for part in range(len(score.parts)):
        mine = (one for one in score.notes if one.part == part)
        wanted.update((key.onset_q, key.pitch) for key in struck_of(mine))
    second = Counter(
        (Q(element.offset).limit_denominator(480), pitch.midi)
        for element in parsed(path).stripTies().flatten().notes
        for pitch in element.pitches
    )
    assert second == wanted
    again = read_score(path)
    assert Counter((n.onset_q, n.spelling.midi) for n in again.notes) == wanted
    assert [m.bar_q for m in again.meters] == [m.bar_q for m in score.meters]


def test_beyond_midi_is_said(tmp_path: Path) -> None:
    far = replace(note("C4", "0", "1"), spelling=Spelling(7 * 10, 0))
    with pytest.raises(ScoreError, match="beyond MIDI's"):
        write_midi(hands(far), tmp_path / "far.mid")
