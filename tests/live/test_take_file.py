"""The bytes of a take: against mido, music21 and our own reader, and Standard MIDI Files 1.0."""

from __future__ import annotations

import io
import struct

import mido
import music21
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.live.take_file import DIVISION, Entry, EntryKind, quantity, take_file
from livecont.score.smf import parse_smf
from livecont.sequence.events import KeyDown

PLAYED, SOUNDED = EntryKind.PLAYED, EntryKind.SOUNDED
TICK_S = 0.5 / DIVISION  # at the tempo that a file begins with


def note(at_s: float, pitch: int, kind: EntryKind = PLAYED, length_s: float = 0.1) -> list[Entry]:
    return [
        Entry(at_s, kind, bytes((0x90, pitch, 70))),
        Entry(at_s + length_s, kind, bytes((0x80, pitch, 64))),
    ]


def tempo(at_s: float, tempo_us: int) -> Entry:
    return Entry(at_s, EntryKind.TEMPO, text=str(tempo_us))


# values of the table in Standard MIDI Files 1.0, "Variable length quantity" (from memory, and
# checked against mido's own encoder below)
QUANTITIES = {
    0x00: "00",
    0x7F: "7f",
    0x80: "8100",
    0x3FFF: "ff7f",
    0x4000: "818000",
    0x100000: "c08000",
    0x1FFFFF: "ffff7f",
    0x200000: "81808000",
    0x0FFFFFFF: "ffffff7f",
}


@pytest.mark.parametrize(("number", "encoded"), QUANTITIES.items())
def test_variable_length_quantities(number: int, encoded: str) -> None:
    assert quantity(number).hex() == encoded


@given(st.integers(0, 0x0FFFFFFF))
def test_variable_length_quantities_are_midos(number: int) -> None:
    assert list(quantity(number)) == mido.midifiles.meta.encode_variable_int(number)


def test_header_and_chunks() -> None:
    data = take_file(note(0.0, 60))
    assert struct.unpack(">4sIHHH", data[:14]) == (b"MThd", 6, 1, 2, DIVISION)
    at, chunks = 14, 0
    while at < len(data):
        kind, length = struct.unpack(">4sI", data[at : at + 8])
        assert kind == b"MTrk"
        at += 8 + length
        assert data[at - 3 : at] == b"\xff\x2f\x00"
        chunks += 1
    assert (at, chunks) == (len(data), 2)


def test_mido_reads_the_two_tracks_with_tempo_key_and_markers() -> None:
    entries = [
        *note(0.5, 60),
        Entry(1.0, EntryKind.KEY, text="-3 1 c minor"),
        tempo(1.0, 600_000),
        *note(1.2, 58, SOUNDED),
        Entry(1.2, EntryKind.MARK, text="take-over: link 3"),
        Entry(1.3, PLAYED, bytes((0xB0, 64, 127))),
    ]
    midi = mido.MidiFile(file=io.BytesIO(take_file(entries)))
    assert [track.name for track in midi.tracks] == ["player", "livecont"]
    player = {message.type: message for message in midi.tracks[0]}
    assert player["key_signature"].key == "Cm"
    assert [m.tempo for m in midi.tracks[0] if m.type == "set_tempo"] == [500_000, 600_000]
    assert player["marker"].text == "take-over: link 3"
    pedals = [m.value for m in midi.tracks[0] if m.type == "control_change"]
    assert pedals == [127, 0]  # what is down at the end is lifted
    assert [m.note for m in midi.tracks[1] if m.type == "note_on"] == [58]
    assert midi.length == pytest.approx(1.3, abs=2 * TICK_S)


def test_music21_reads_the_same_notes_and_key() -> None:
    entries = [
        Entry(0.0, EntryKind.KEY, text="3 0 A major"),
        *note(0.0, 69),
        *note(0.5, 73),
        *note(1.0, 76, SOUNDED),
    ]
    file = music21.midi.MidiFile()
    file.readstr(take_file(entries))
    score = music21.midi.translate.midiFileToStream(file)
    assert sorted(n.pitch.midi for n in score.recurse().notes) == [69, 73, 76]
    signatures = list(score.recurse().getElementsByClass(music21.key.KeySignature))
    assert {signature.sharps for signature in signatures} == {3}
    assert len(score.parts) == 2


EVENTS = st.lists(
    st.tuples(st.floats(0.0, 5000.0), st.integers(0, 127), st.sampled_from([PLAYED, SOUNDED])),
    max_size=40,
)
TEMPI = st.lists(st.tuples(st.floats(0.0, 5000.0), st.integers(100_000, 2_000_000)), max_size=6)


@given(EVENTS, TEMPI)
def test_times_survive_any_tempo_map_within_two_ticks(
    strikes: list[tuple[float, int, EntryKind]], tempi: list[tuple[float, int]]
) -> None:
    """Read back by mido and by our own reader, in seconds."""
    entries = [tempo(at_s, tempo_us) for at_s, tempo_us in tempi]
    entries += [Entry(at_s, kind, bytes((0x90, p, 1 + p % 127))) for at_s, p, kind in strikes]
    data = take_file(entries)
    tick_s = 2.0 / DIVISION  # the longest there is here
    wanted = sorted((at_s, pitch) for at_s, pitch, _ in strikes)
    ours = sorted((e.at_s, e.pitch) for e in parse_smf(data).events if isinstance(e, KeyDown))
    at_s, theirs = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(data)):
        at_s += message.time
        if message.type == "note_on" and message.velocity:
            theirs.append((at_s, message.note))
    for read in (ours, sorted(theirs)):
        assert sorted(pitch for _, pitch in read) == sorted(pitch for _, pitch in wanted)
        for (read_s, _), (wanted_s, _) in zip(read, wanted, strict=True):
            assert abs(read_s - wanted_s) <= 2 * tick_s


def test_rounding_does_not_add_up_over_a_thousand_changes_of_tempo() -> None:
    entries = [tempo(0.37723 * k, 400_000 + 7 * (k % 2)) for k in range(1, 1000)]
    entries += note(377.5, 60)
    (strike,) = (e for e in parse_smf(take_file(entries)).events if isinstance(e, KeyDown))
    assert abs(strike.at_s - 377.5) <= TICK_S


def test_hours_of_silence_fit() -> None:
    """A delta has four bytes of seven bits at most: some 7.8 hours here."""
    entries = [*note(0.0, 60), *note(108_000.0, 62)]
    data = take_file(entries)
    midi = mido.MidiFile(file=io.BytesIO(data))
    assert midi.length == pytest.approx(108_000.1, abs=0.01)


def test_every_strike_has_its_release() -> None:
    held = [Entry(1.0, kind, bytes((0x92, 60, 70))) for kind in (PLAYED, SOUNDED)]
    midi = mido.MidiFile(file=io.BytesIO(take_file([*held, *note(2.0, 40)])))
    for track in midi.tracks:
        down = [m.note for m in track if m.type == "note_on" and m.velocity]
        up = [m.note for m in track if m.type == "note_off"]
        assert sorted(down) == sorted(up)
