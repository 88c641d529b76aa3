"""Our own pieces: well written, played like a person, and continued by the live engine."""

from __future__ import annotations

from pathlib import Path

import pytest

from livecont.config import load_preferences
from livecont.demo import Piece, demo_names, load_piece, perform, read_piece
from livecont.errors import ConfigError
from livecont.music.pitch import spelling
from livecont.sequence.events import KeyDown, KeyUp
from livecont.sequence.pattern import Kind
from livecont.sitting.events import Ended, Settings, TookOver
from livecont.sitting.virtual import run, take_overs

PIECES = [load_piece(name) for name in demo_names()]
COMPASSES = load_preferences().compasses
# how a step is counted, as the pieces' own descriptions have it
KINDS = {"whole-tones-down": Kind.REAL}

# the third link of each piece as we would write it, right hand and left hand
THIRD_LINKS = {
    "falling-fifths": (
        "D5 B4 D5 G5 F#5 G5 D5 B4 E5 C5 E5 G5 E5 C5",
        "G3 B3 G3 D3 C3 G3 C3",
    ),
    "rising-gigue": (
        "C#5 F#5 A5 G5 A5 B5 F#5 D5 B4 D5 F#5",
        "F#3 C#4 F#4 C#4 B3 D4 F#4 D4",
    ),
    "lament": (
        "E5 D5 C5 D5 A4 D5",
        "F2 A3 F3 A3 F3 A3",
    ),
    "whole-tones-down": (
        "A4 C5 Eb5 C5 A4 C5 F5 Eb5 D5 Bb4 F4 Bb4 D5 Bb4",
        "F2 C3 F3 C3 Bb2 F3 Bb2",
    ),
}


@pytest.fixture(params=PIECES, ids=lambda piece: piece.name)
def piece(request: pytest.FixtureRequest) -> Piece:
    found = request.param
    assert isinstance(found, Piece)
    return found


def settings_for(piece: Piece) -> Settings:
    return Settings(key=piece.key, compass=COMPASSES[piece.compass], most_links=piece.links)


def test_there_is_one_of_each_kind() -> None:
    assert set(demo_names()) == set(THIRD_LINKS)
    abouts = " | ".join(piece.about for piece in PIECES)
    for kind in ("descending", "ascending", "minor", "real"):
        assert kind in abouts


def test_second_link_is_the_first_moved_by_the_step(piece: Piece) -> None:
    for voice in piece.voices:
        first = [note for note in voice.notes if note.beat < piece.unit_beats]
        second = [note for note in voice.notes if note.beat >= piece.unit_beats]
        assert [(n.beat + piece.unit_beats, n.beats) for n in first] == [
            (n.beat, n.beats) for n in second
        ]
        moved = [note.spelling.staff + piece.step_degrees for note in first]
        assert [note.spelling.staff for note in second] == moved


def test_a_performance_is_human_and_always_the_same(piece: Piece) -> None:
    events = perform(piece, 1.0)
    assert events == perform(piece, 1.0)
    assert [event.at_s for event in events] == sorted(event.at_s for event in events)
    downs = [event for event in events if isinstance(event, KeyDown)]
    written = sorted(
        (float(note.beat) * 60 / piece.tempo_bpm + 1, note.spelling.midi)
        for voice in piece.voices
        for note in voice.notes
    )
    slips = [
        min(abs(down.at_s - at_s) for at_s, pitch in written if pitch == down.pitch)
        for down in downs
    ]
    assert sum(slips) / len(slips) > 0.001
    assert max(slips) < 0.06
    assert len({down.velocity for down in downs}) > 5


def test_no_key_is_struck_while_it_is_down(piece: Piece) -> None:
    down: set[int] = set()
    for event in perform(piece):
        if isinstance(event, KeyDown):
            assert event.pitch not in down
            down.add(event.pitch)
        elif isinstance(event, KeyUp):
            down.remove(event.pitch)
    assert not down


def test_the_live_engine_carries_it_on_as_written(piece: Piece) -> None:
    effects = list(run(settings_for(piece), perform(piece, 1.0)))
    taken = take_overs(effects)
    assert len(taken) == 1
    pattern = taken[0].pattern
    assert pattern.step_degrees == piece.step_degrees
    assert pattern.kind is KINDS.get(piece.name, Kind.TONAL)
    assert pattern.unit_s == pytest.approx(float(piece.unit_beats) * 60 / piece.tempo_bpm, rel=0.02)
    due_s = 1.0 + 2 * float(piece.unit_beats) * 60 / piece.tempo_bpm
    assert taken[0].start_s == pytest.approx(due_s, abs=0.04)
    assert taken[0].start_s < 10  # heard within ten seconds of starting
    written = " ".join(THIRD_LINKS[piece.name]).split()
    assert sorted(note.pitch for note in taken[0].link.notes) == sorted(
        spelling(name).midi for name in written
    )


def test_it_ends_at_its_limit_by_itself(piece: Piece) -> None:
    ends = [e for e in run(settings_for(piece), perform(piece)) if isinstance(e, Ended)]
    assert [end.reason for end in ends] == ["limit"]


def test_the_demonstration_does_not_hang_on_the_given_key(piece: Piece) -> None:
    settings = Settings(key=None, compass=COMPASSES[piece.compass], most_links=1)
    taken = [e for e in run(settings, perform(piece)) if isinstance(e, TookOver)]
    assert [take.pattern.step_degrees for take in taken] == [piece.step_degrees]


def test_an_unknown_piece() -> None:
    with pytest.raises(ConfigError, match="did you mean 'lament'"):
        load_piece("lamento")


@pytest.mark.parametrize(
    ("notes", "complaint"),
    [
        ("H4:1", "'H4:1' is not a note name"),
        ("C4", "'C4' is not a note name"),
        ("C4:1/0", "'C4:1/0' is not a note name"),
        ("C4:0", "'C4:0' has no length"),
    ],
)
def test_a_fault_in_a_piece_names_its_line(tmp_path: Path, notes: str, complaint: str) -> None:
    path = tmp_path / "piece.toml"
    path.write_text(
        'title = ""\nabout = ""\nkey = "C"\ntempo_bpm = 90\nbeats_per_bar = 4\n'
        'compass = "modern"\nlinks = 3\nunit_beats = 4\nstep_degrees = -1\n'
        f'[[voice]]\nname = ""\nvelocity = 70\ntouch = 0.8\nnotes = "{notes}"\n',
        encoding="utf-8",
    )
    with pytest.raises(ConfigError, match=rf"piece\.toml, line 14, voice\.notes: {complaint}"):
        read_piece(path)
