"""A MIDI file taken as a score: its ticks are quarters, its pitches are spelled by the engine.

Conventions: Standard MIDI Files 1.0. A track with notes is a part, as is each channel where one
track has several; channel 10 is percussion (General MIDI 1) and left out. Onsets are drawn to the
nearest 1/24 or 1/32 of a quarter, which leaves what a notation program wrote as it is; a recording
of playing without a click has no beats to be read.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from livecont.errors import ScoreError
from livecont.music.key import Key
from livecont.music.keyfinding import key_scores
from livecont.music.pitch import Spelling
from livecont.music.score import Bar, Meter, Part, Score, ScoreNote, Signature
from livecont.score.timeline import MOST_QUARTERS, distinct_names
from livecont.score.untrusted import bounded_notes, clean_text

MOST_MIDI_BYTES = 4 * 2**20
PERCUSSION = 9  # channels count from 0
GRIDS = (24, 32)
LEAST_Q = Fraction(1, 32)  # a note of no length still sounds
# the key is judged by what lies so near before and after
NEAR_Q = 8


@dataclass(slots=True)
class _Voice:
    """The notes of one channel of one track: (onset, end, pitch), in ticks."""

    name: str
    notes: list[tuple[int, int, int]] = field(default_factory=list)


def read_midi_score(data: bytes) -> Score:
    """Return a MIDI file's notes as a score.

    Raises:
        ScoreError: not MIDI, cut off, or without beats.
    """
    import mido

    if len(data) > MOST_MIDI_BYTES:
        raise ScoreError(f"a MIDI file of more than {MOST_MIDI_BYTES // 2**20} MB: no score")
    try:
        file = mido.MidiFile(file=io.BytesIO(data), clip=True)
    except Exception as error:  # mido raises whatever comes up on broken files
        told = "cut off" if isinstance(error, EOFError) else "damaged"
        raise ScoreError(
            f"a MIDI file that can't be read: it is {told}; export the piece anew"
        ) from error
    division = int(file.ticks_per_beat)
    if not 0 < division < 0x8000:
        raise ScoreError("a MIDI file that counts seconds, not beats: no score")
    voices: list[_Voice] = []
    meters: list[Meter] = []
    signatures: list[Signature] = []
    for track in file.tracks:
        voices += _read_track(track, division, meters, signatures)
    bounded_notes(sum(len(voice.notes) for voice in voices))
    return _score(voices, division, meters, signatures)


def _read_track(
    track: Iterable[Any], division: int, meters: list[Meter], signatures: list[Signature]
) -> list[_Voice]:
    name = ""
    voices: dict[int, _Voice] = {}
    down: dict[tuple[int, int], int] = {}
    tick = 0
    for message in track:
        tick += int(message.time)
        at_q = Fraction(tick, division)
        if at_q > MOST_QUARTERS:
            raise ScoreError(f"longer than {MOST_QUARTERS} quarters: no piece")
        if message.type == "track_name" and not name:
            name = clean_text(message.name)
        elif message.type == "time_signature" and message.denominator <= 256:
            if message.numerator and message.denominator:
                meters.append(
                    Meter(at_q=at_q, beats=message.numerator, beat_type=message.denominator)
                )
        elif message.type == "key_signature":
            signatures.append(_signature(at_q, str(message.key)))
        elif message.type in ("note_on", "note_off") and message.channel != PERCUSSION:
            place = (message.channel, message.note)
            begun = down.pop(place, None)
            voice = voices.setdefault(message.channel, _Voice(name=""))
            if begun is not None:
                voice.notes.append((begun, tick, message.note))
            if message.type == "note_on" and message.velocity:
                down[place] = tick
    for (channel, pitch), begun in down.items():
        voices[channel].notes.append((begun, tick, pitch))
    for voice in voices.values():
        voice.name = name
    return [voice for voice in voices.values() if voice.notes]


def _signature(at_q: Fraction, name: str) -> Signature:
    """Read a key as mido names it, such as 'F#m'."""
    minor = name.endswith("m")
    tonic = name.removesuffix("m")
    key = Key("CDEFGAB".index(tonic[0]), {"": 0, "#": 1, "b": -1}[tonic[1:]], "major")
    fifths = key.fifths - 3 if minor else key.fifths
    return Signature(at_q=at_q, fifths=fifths, mode="minor" if minor else "major")


def _score(
    voices: Sequence[_Voice], division: int, meters: list[Meter], signatures: list[Signature]
) -> Score:
    raw = sorted(
        (_drawn(begun, division), _drawn(end, division), part, pitch)
        for part, voice in enumerate(voices)
        for begun, end, pitch in voice.notes
    )
    spelled = spell([(onset_q, pitch) for onset_q, _, _, pitch in raw])
    notes = tuple(
        ScoreNote(
            onset_q=onset_q,
            duration_q=max(end_q - onset_q, LEAST_Q),
            spelling=spelling,
            part=part,
        )
        for (onset_q, end_q, part, _), spelling in zip(raw, spelled, strict=True)
    )
    meters.sort(key=lambda meter: meter.at_q)
    signatures.sort(key=lambda sign: sign.at_q)
    end_q = max((note.end_q for note in notes), default=Fraction(0))
    return Score(
        parts=tuple(Part(name=name) for name in distinct_names([v.name for v in voices])),
        notes=notes,
        bars=_bars(meters, end_q),
        meters=tuple(meters),
        signatures=tuple(signatures),
        spelled=False,
    )


def _drawn(tick: int, division: int) -> Fraction:
    """Draw a place to the nearest line of a grid, the coarser where both are as near."""
    at_q = Fraction(tick, division)
    lines = [Fraction(round(at_q * grid), grid) for grid in GRIDS]
    return min(lines, key=lambda line: (abs(line - at_q), line.denominator))


def _bars(meters: Sequence[Meter], end_q: Fraction) -> tuple[Bar, ...]:
    """Count bars through: a MIDI file prints none."""
    changes = list(meters) or [Meter(at_q=Fraction(0), beats=4, beat_type=4)]
    bars: list[Bar] = []
    at_q = Fraction(0)
    for index, meter in enumerate(changes):
        until_q = changes[index + 1].at_q if index + 1 < len(changes) else end_q
        while at_q < until_q and len(bars) < MOST_QUARTERS:
            length_q = min(meter.bar_q, until_q - at_q) if index + 1 < len(changes) else meter.bar_q
            bars.append(Bar(number=str(len(bars) + 1), start_q=at_q, length_q=length_q))
            at_q += length_q
    return tuple(bars)


def spell(notes: Sequence[tuple[Fraction, int]]) -> tuple[Spelling, ...]:
    """Return MIDI pitches spelled by the key of their surroundings.

    Args:
        notes: onset in quarters and MIDI pitch, in order of time.

    >>> [s.name for s in spell([(Fraction(i), p) for i, p in enumerate((62, 64, 66, 67, 69, 61))])]
    ['D4', 'E4', 'F#4', 'G4', 'A4', 'C#4']
    """
    result: list[Spelling] = []
    weights = [0.0] * 12
    first = last = 0
    for onset_q, pitch in notes:
        while last < len(notes) and notes[last][0] <= onset_q + NEAR_Q:
            weights[notes[last][1] % 12] += 1.0
            last += 1
        while notes[first][0] < onset_q - NEAR_Q:
            weights[notes[first][1] % 12] -= 1.0
            first += 1
        result.append(key_scores(weights)[0][0].spell(pitch))
    return tuple(result)
