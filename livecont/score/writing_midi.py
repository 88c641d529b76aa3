"""Writing scores as MIDI files: exact beats, a track a part.

Conventions: Standard MIDI Files 1.0, format 1; the first track has tempo, metre and key. A key is
struck by one note at a time: where two voices have one pitch at once, the later note takes it over.
Channels go by part; the tenth, which is percussion (General MIDI 1), is left out.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from pathlib import Path
from typing import Any

from livecont.errors import ScoreError
from livecont.music.score import Mark, Score, ScoreNote
from livecont.score.files import write_new

QUARTERS_A_MINUTE = 96
VELOCITY = 72
MOST_TICKS = 0x7FFF  # to a quarter
USUAL_TICKS = 480
CHANNELS = tuple(channel for channel in range(16) if channel != 9)
GRACE_Q = Fraction(1, 8)
_KEYS = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_MINOR_KEYS = (
    "Abm", "Ebm", "Bbm", "Fm", "Cm", "Gm", "Dm", "Am", "Em", "Bm", "F#m", "C#m", "G#m", "D#m",
    "A#m",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Struck:
    """A key struck: from a place to a place, in quarters; a MIDI pitch and velocity."""

    onset_q: Fraction
    end_q: Fraction
    pitch: int
    velocity: int = VELOCITY


def write_midi(
    score: Score, path: Path, *, quarters_a_minute: float = QUARTERS_A_MINUTE, force: bool = False
) -> None:
    """Write a score to a MIDI file.

    Raises:
        ScoreError: it can't be written, or something is there already.
    """
    write_new(path, midi_of(score, quarters_a_minute=quarters_a_minute), force=force)


def midi_of(score: Score, *, quarters_a_minute: float = QUARTERS_A_MINUTE) -> bytes:
    """Return a score as the bytes of a MIDI file.

    Raises:
        ScoreError: a pitch beyond MIDI's.
    """
    import mido

    ticks = _ticks(score)
    file = mido.MidiFile(type=1, ticks_per_beat=ticks)
    file.tracks.append(_first_track(score, ticks, quarters_a_minute))
    for number, part in enumerate(score.parts):
        channel = CHANNELS[number % len(CHANNELS)]
        struck = struck_of(note for note in score.notes if note.part == number)
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=_latin(part.name))])
        track += _in_order(_messages(struck, ticks, channel))
        file.tracks.append(track)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def struck_of(notes: Iterable[ScoreNote]) -> tuple[Struck, ...]:
    """Return the keys that a part's notes strike; none is struck while it is down.

    Grace notes come before the note they lead to and take their time from what is before it.

    Raises:
        ScoreError: a pitch beyond MIDI's.
    """
    by_pitch: dict[int, dict[Fraction, Fraction]] = {}
    for onset_q, end_q, pitch in _sounding(list(notes)):
        if not 0 <= pitch <= 127:
            raise ScoreError("a note beyond MIDI's, C-1 to G9")
        ends = by_pitch.setdefault(pitch, {})
        ends[onset_q] = max(end_q, ends.get(onset_q, end_q))
    found = []
    for pitch, ends in by_pitch.items():
        onsets = sorted(ends)
        for onset_q, following_q in zip(onsets, [*onsets[1:], None], strict=True):
            end_q = ends[onset_q] if following_q is None else min(ends[onset_q], following_q)
            found.append(Struck(onset_q=onset_q, end_q=end_q, pitch=pitch))
    return tuple(sorted(found))


def _sounding(notes: Sequence[ScoreNote]) -> Iterable[tuple[Fraction, Fraction, int]]:
    graces: dict[tuple[Fraction, int], list[ScoreNote]] = {}
    for note in notes:
        if note.grace:
            graces.setdefault((note.onset_q, note.voice), []).append(note)
        elif note.duration_q > 0:
            yield note.onset_q, note.end_q, note.spelling.midi
    for (onset_q, _), group in graces.items():
        start_q = max(Fraction(0), onset_q - GRACE_Q * len(group))
        length_q = (onset_q - start_q) / len(group)
        for index, note in enumerate(group):
            if length_q > 0:
                at_q = start_q + index * length_q
                yield at_q, at_q + length_q, note.spelling.midi


def _ticks(score: Score) -> int:
    places = {note.onset_q.denominator for note in score.notes}
    places |= {note.duration_q.denominator for note in score.notes}
    exact = lcm(*places, GRACE_Q.denominator)
    if exact > MOST_TICKS:
        return USUAL_TICKS
    return exact * max(1, USUAL_TICKS // exact)


def _first_track(score: Score, ticks: int, quarters_a_minute: float) -> Any:
    import mido

    tempo = mido.MetaMessage("set_tempo", tempo=round(60e6 / quarters_a_minute))
    events: list[tuple[int, int, Any]] = [(0, 0, tempo)]
    for meter in score.meters or (score.meter_at(Fraction(0)),):
        beats = min(255, meter.beats)
        sign = mido.MetaMessage("time_signature", numerator=beats, denominator=meter.beat_type)
        events.append((_tick(meter.at_q, ticks), 1, sign))
    for signature in score.signatures:
        names = _MINOR_KEYS if signature.mode == "minor" else _KEYS
        if abs(signature.fifths) <= 7:
            key = mido.MetaMessage("key_signature", key=names[signature.fifths + 7])
            events.append((_tick(signature.at_q, ticks), 2, key))
    for mark in score.marks:
        events.append((_tick(mark.at_q, ticks), 3, _marker(mark)))
    end = _tick(max((note.end_q for note in score.notes), default=Fraction(0)), ticks)
    events.append((max(end, _tick(score.length_q, ticks)), 4, mido.MetaMessage("end_of_track")))
    return mido.MidiTrack(_in_order(events))


def _marker(mark: Mark) -> Any:
    import mido

    return mido.MetaMessage("marker", text=_latin(mark.text))


def _messages(struck: Sequence[Struck], ticks: int, channel: int) -> list[tuple[int, int, Any]]:
    import mido

    events: list[tuple[int, int, Any]] = []
    for one in struck:
        start, end = _tick(one.onset_q, ticks), _tick(one.end_q, ticks)
        end = max(end, start + 1)
        on = mido.Message("note_on", channel=channel, note=one.pitch, velocity=one.velocity)
        off = mido.Message("note_off", channel=channel, note=one.pitch, velocity=64)
        events += [(start, 1, on), (end, 0, off)]  # a key comes up before it goes down again
    return events


def _in_order(events: list[tuple[int, int, Any]]) -> list[Any]:
    events.sort(key=lambda event: event[:2])
    result = []
    before = 0
    for tick, _, message in events:
        result.append(message.copy(time=tick - before))
        before = tick
    return result


def _tick(at_q: Fraction, ticks: int) -> int:
    return round(at_q * ticks)


def _latin(text: str) -> str:
    """Return text as the file can hold it."""
    return text.encode("latin-1", "replace").decode("latin-1")
