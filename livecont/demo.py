"""Our own pieces, two links each, and a performance of them for the demonstration.

Conventions: written lengths are in quarters (`beats`), performed times in seconds. A performance
is the same each time: its small unevenness comes from a generator seeded with the piece's name.
"""

from __future__ import annotations

import math
import random  # noqa: TID251 -- seeded with the piece's name, so that every performance is the same
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from livecont.config import NOTE_NAME, configs_folder
from livecont.errors import ConfigError, unknown
from livecont.music.key import Key, parse_key
from livecont.music.pitch import Spelling, spelling
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.tables import Table, read_table

# a pianist's hands, on purpose smaller than what is measured in concert: melody leads by some tens
# of ms (Goebl 2001), steady playing varies by a few percent
LEAD_S = 0.012
JITTER_S = 0.005
BREATH_SHARE = 0.006  # of a bar, how far the beat bends within it
DOWNBEAT_ACCENT, BEAT_ACCENT = 8, 3
MOST_BEATS = 10_000  # of a note
MOST_DIGITS = 20  # of a note's length
APART_S = 0.015  # a key is up this long before it goes down again


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenNote:
    """A note as written."""

    beat: Fraction
    beats: Fraction
    spelling: Spelling


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """A voice and how it is played: `touch` is the share of a note's length it is held for."""

    name: str
    velocity: int
    touch: float
    notes: tuple[WrittenNote, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A piece of two links; `unit_beats` and `step_degrees` say what is to be found in it."""

    name: str
    title: str
    about: str
    key: Key
    tempo_bpm: float
    beats_per_bar: int
    compass: str
    links: int
    unit_beats: Fraction
    step_degrees: int
    voices: tuple[Voice, ...]


def demo_names() -> tuple[str, ...]:
    """Return the names of our pieces, the first one being played where none is asked for."""
    return tuple(sorted(path.stem for path in (configs_folder() / "demo").glob("*.toml")))


def load_piece(name: str) -> Piece:
    """Return one of our pieces.

    Raises:
        ConfigError: with the nearest name, where there is none of this name.
    """
    if name not in demo_names():
        raise unknown("piece", name, demo_names())
    return read_piece(configs_folder() / "demo" / f"{name}.toml")


def read_piece(path: Path) -> Piece:
    """Read a piece from a file in the format that `configs/demo/` explains.

    Raises:
        ConfigError: naming file, line and key.
    """
    table = read_table(path)
    try:
        key = parse_key(table.string("key"))
    except ConfigError as error:
        raise table.fault("key", str(error)) from error
    return Piece(
        name=path.stem,
        title=table.string("title"),
        about=table.string("about"),
        key=key,
        tempo_bpm=table.number("tempo_bpm", 20, 400),
        beats_per_bar=table.whole("beats_per_bar", 1, 16),
        compass=table.string("compass"),
        links=table.whole("links", 1, 100),
        unit_beats=Fraction(table.number("unit_beats", 0.25, 64)),
        step_degrees=table.whole("step_degrees", -14, 14),
        voices=tuple(_voice(voice) for voice in table.tables("voice")),
    )


def _voice(table: Table) -> Voice:
    notes = tuple(_notes(table))
    if not notes:
        raise table.fault("notes", "has no note")
    return Voice(
        name=table.string("name"),
        velocity=table.whole("velocity", 1, 127),
        touch=table.number("touch", 0.05, 1),
        notes=notes,
    )


def _notes(table: Table) -> Iterator[WrittenNote]:
    beat = Fraction(0)
    for token in table.string("notes").split():
        names, _, length = token.partition(":")
        try:
            beats = _beats(length)
            written = () if names == "r" else tuple(spelling(name) for name in names.split("+"))
        except (ValueError, ZeroDivisionError) as error:
            what = f"{token[:40]!r} is not {NOTE_NAME} with a length, such as F#4:1/2"
            raise table.fault("notes", what) from error
        if not 0 < beats <= MOST_BEATS:
            raise table.fault("notes", f"{token[:40]!r} has no length, or one beyond all measure")
        for pitch in written:
            if not 0 <= pitch.midi <= 127:
                raise table.fault("notes", f"{token[:40]!r} is no key of MIDI's")
            yield WrittenNote(beat=beat, beats=beats, spelling=pitch)
        beat += beats


def _beats(length: str) -> Fraction:
    if len(length) > MOST_DIGITS or not set(length) <= set("0123456789/."):
        raise ValueError(length[:MOST_DIGITS])
    return Fraction(length)


def perform(piece: Piece, start_s: float = 0.0) -> tuple[PlayerEvent, ...]:
    """Return the piece as somebody at a keyboard might play it, from `start_s` on.

    >>> events = perform(load_piece("falling-fifths"))
    >>> events == perform(load_piece("falling-fifths"))
    True
    """
    chance = random.Random(piece.name)  # noqa: S311 -- music, no secret
    events: list[PlayerEvent] = []
    for number, voice in enumerate(piece.voices):
        events += _perform_voice(piece, voice, start_s + number * LEAD_S, chance)
    return tuple(sorted(events, key=lambda event: event.at_s))


def _perform_voice(
    piece: Piece, voice: Voice, start_s: float, chance: random.Random
) -> list[PlayerEvent]:
    middle = sum(note.spelling.midi for note in voice.notes) / len(voice.notes)
    downs: list[tuple[float, WrittenNote]] = []
    for note in voice.notes:
        slip_s = max(-2 * JITTER_S, min(2 * JITTER_S, chance.gauss(0, JITTER_S)))
        downs.append((max(start_s, start_s + _time_s(piece, note.beat) + slip_s), note))
    events: list[PlayerEvent] = []
    for number, (at_s, note) in enumerate(downs):
        pitch = note.spelling.midi
        held_s = _time_s(piece, note.beat + note.beats) - _time_s(piece, note.beat)
        up_s = at_s + held_s * voice.touch * chance.uniform(0.97, 1.0)
        again = (a for a, later in downs[number + 1 :] if later.spelling.midi == pitch)
        up_s = min(up_s, next(again, math.inf) - APART_S)
        contour = (pitch - middle) / 3
        velocity = voice.velocity + _accent(piece, note.beat) + contour + chance.uniform(-2, 2)
        velocity_midi = max(1, min(127, round(velocity)))
        events.append(KeyDown(at_s=at_s, pitch=pitch, velocity=velocity_midi))
        events.append(KeyUp(at_s=up_s, pitch=pitch))
    return events


def _time_s(piece: Piece, beat: Fraction) -> float:
    """Return when a beat falls: the tempo breathes once a bar."""
    bar = piece.beats_per_bar
    bent = float(beat) + BREATH_SHARE * bar * math.sin(2 * math.pi * float(beat) / bar)
    return bent * 60 / piece.tempo_bpm


def _accent(piece: Piece, beat: Fraction) -> int:
    if beat % piece.beats_per_bar == 0:
        return DOWNBEAT_ACCENT
    return BEAT_ACCENT if beat.denominator == 1 else 0
