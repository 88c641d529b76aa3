"""The cheap reading of takes against mido's reading of the same bytes."""

from __future__ import annotations

import io

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.live.take_file import LIVECONT, PLAYER, Entry, EntryKind, take_file
from livecont.live.take_summary import Summary, summary

MESSAGES = st.builds(
    lambda at_s, kind, status, one, two: Entry(at_s, kind, bytes((status, one, two))),
    st.floats(0.0, 5000.0),
    st.sampled_from([EntryKind.PLAYED, EntryKind.SOUNDED]),
    st.sampled_from([0x80, 0x90, 0x91, 0xB0]),
    st.integers(0, 127),
    st.integers(0, 127),
)
TEMPI = st.builds(
    lambda at_s, us: Entry(at_s, EntryKind.TEMPO, text=str(us)),
    st.floats(0.0, 5000.0),
    st.integers(10_000, 10**7),
)


def read(data: bytes) -> Summary:
    return summary(io.BytesIO(data), len(data))


def strikes(midi: mido.MidiFile) -> dict[str, int]:
    return {
        track.name: sum(m.type == "note_on" and m.velocity > 0 for m in track)
        for track in midi.tracks
    }


@given(st.lists(MESSAGES | TEMPI, max_size=30))
def test_our_takes_are_read_as_mido_reads_them(entries: list[Entry]) -> None:
    data = take_file(entries)
    midi = mido.MidiFile(file=io.BytesIO(data))
    found = read(data)
    assert set(found.strikes) == {PLAYER, LIVECONT}
    assert found.strikes == strikes(midi)
    assert found.length_s == pytest.approx(midi.length, abs=1e-6)


def somebodys() -> bytes:
    """A file with all that may stand in one: mido writes it, running status and all."""
    midi = mido.MidiFile(type=1, ticks_per_beat=96)
    first, second = midi.add_track("player"), midi.add_track("other")
    first.append(mido.MetaMessage("set_tempo", tempo=600_000, time=10))
    first.append(mido.Message("sysex", data=(1, 2, 3), time=5))
    first.append(mido.MetaMessage("set_tempo", tempo=300_000, time=700))
    first.append(mido.MetaMessage("lyrics", text="x" * 300, time=0))
    for pitch in range(50, 60):
        second.append(mido.Message("note_on", note=pitch, velocity=9, time=40))
        second.append(mido.Message("note_on", note=pitch, velocity=0, time=20_000))
    second.append(mido.Message("program_change", program=3, time=1))
    second.append(mido.Message("pitchwheel", pitch=-5, time=1))
    second.append(mido.Message("aftertouch", value=5, time=300))
    out = io.BytesIO()
    midi.save(file=out)
    return out.getvalue()


def test_anybodys_file_is_read_as_mido_reads_it() -> None:
    data = somebodys()
    midi = mido.MidiFile(file=io.BytesIO(data))
    assert read(data).strikes == strikes(midi) == {"player": 0, "other": 10}
    assert read(data).length_s == pytest.approx(midi.length, abs=1e-6)


def test_running_status_and_frames() -> None:
    """By hand, after the standard: 25 frames of 40 ticks are a second; a status may be left out."""
    track = bytes.fromhex("00 90 3c 40 83 74 3c 00 00 40 40 83 74 40 00 00 ff 2f 00")
    data = bytes.fromhex("4d546864 00000006 0000 0001 e728 4d54726b 00000013") + track
    assert read(data) == Summary(length_s=1.0, strikes={"": 2})


def test_what_is_cut_off_anywhere_is_no_take() -> None:
    data = somebodys()
    for end in range(len(data)):
        with pytest.raises(ValueError, match=r"\S"):
            read(data[:end])


@given(st.integers(0, 10**6), st.binary(min_size=1, max_size=6))
def test_nothing_but_value_errors(at: int, put: bytes) -> None:
    data = bytearray(somebodys())
    at %= len(data)
    data[at : at + len(put)] = put
    try:
        found = read(bytes(data))
    except ValueError:
        return
    assert found.length_s >= 0.0


@pytest.mark.parametrize(
    ("track", "what"),
    [
        ("00 3c 40", "broken"),  # no status yet
        ("00 f1 00", "no file may have"),
        ("ff ff ff ff 7f 90 3c 40", "four bytes"),
        ("00 90 3c", "broken"),
        ("00 80 3c", "cut off"),
    ],
)
def test_broken_tracks(track: str, what: str) -> None:
    body = bytes.fromhex(track)
    head = bytes.fromhex("4d546864 00000006 0000 0001 0060") + b"MTrk" + len(body).to_bytes(4)
    with pytest.raises(ValueError, match=what):
        read(head + body)
