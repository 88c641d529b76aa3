"""Reading MIDI files: bytes by the Standard MIDI Files 1.0 specification, two other readers."""

from __future__ import annotations

import io
from pathlib import Path

import mido
import music21
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecont.errors import ScoreError
from livecont.score import smf
from livecont.score.smf import parse_smf, read_smf
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent


def from_hex(dump: str) -> bytes:
    """Return the bytes of a commented dump."""
    return bytes.fromhex(" ".join(line.partition("#")[0] for line in dump.splitlines()))


# format 0, one track, 96 ticks a quarter; the default tempo is 120 quarters a minute
PLAIN = from_hex("""
    4D 54 68 64  00 00 00 06  00 00  00 01  00 60   # MThd, length 6, format 0, 1 track, division 96
    4D 54 72 6B  00 00 00 1E                        # MTrk, 30 bytes
    00 90 3C 40       # at 0: middle C down, velocity 64
    60 3C 00          # 96 ticks later, running status: velocity 0 is a release
    00 B0 40 7F       # sustain pedal down
    81 40 91 45 50    # 192 ticks later (two-byte quantity 81 40): A4 down on channel 2
    60 F0 03 7D 01 F7 # a system exclusive message in the middle
    00 81 45 20       # A4 up
    00 FF 2F 00       # end of track
""")


def test_reads_the_bytes_of_the_specification() -> None:
    """SMF 1.0: variable-length quantities, running status, velocity 0, default tempo."""
    recording = parse_smf(PLAIN)
    assert recording.events == (
        KeyDown(at_s=0.0, pitch=60, velocity=64, channel=0),
        KeyUp(at_s=0.5, pitch=60, channel=0),
        PedalMove(at_s=0.5, controller=64, value=127, channel=0),
        KeyDown(at_s=1.5, pitch=69, velocity=80, channel=1),
        KeyUp(at_s=2.0, pitch=69, channel=1),
    )
    assert (recording.length_s, recording.division, recording.key) == (2.0, 96, None)


def two_tracks() -> bytes:
    """A file made by another library: format 1, tempo and key in one track, notes in the other."""
    midi = mido.MidiFile(type=1, ticks_per_beat=480)
    conductor, hands = midi.add_track("conductor"), midi.add_track("hands")
    conductor.append(mido.MetaMessage("key_signature", key="Em", time=0))
    conductor.append(mido.MetaMessage("set_tempo", tempo=600_000, time=0))
    conductor.append(mido.MetaMessage("set_tempo", tempo=300_000, time=720))
    hands.append(mido.Message("note_on", note=64, velocity=70, time=480))
    hands.append(mido.Message("program_change", program=6, time=0))
    hands.append(mido.Message("pitchwheel", pitch=100, time=10))
    hands.append(mido.Message("note_off", note=64, velocity=30, time=470))
    hands.append(mido.Message("note_on", note=67, velocity=71, time=5))
    hands.append(mido.Message("control_change", control=67, value=0, time=960))
    file = io.BytesIO()
    midi.save(file=file)
    return file.getvalue()


def test_tempo_map_and_tracks_agree_with_mido() -> None:
    recording = parse_smf(two_tracks())
    now_s, expected = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(two_tracks())):
        now_s += message.time
        if message.type in ("note_on", "note_off") or message.is_cc(67):
            expected.append(now_s)
    # one more event: the key that the file leaves down comes up at its end
    assert [event.at_s for event in recording.events[:-1]] == pytest.approx(expected)
    assert recording.events[-1] == KeyUp(at_s=recording.length_s, pitch=67)
    assert recording.length_s == pytest.approx(now_s)
    assert recording.key is not None
    assert recording.key.name == "e minor"


def test_ticks_agree_with_music21() -> None:
    reader = music21.midi.MidiFile()
    reader.readstr(two_tracks())
    tick, ticks = 0, []
    for event in reader.tracks[1].events:
        if event.isDeltaTime():
            tick += event.time
        elif event.isNoteOn() or event.isNoteOff():
            ticks.append((tick, event.pitch, event.isNoteOn() and (event.velocity or 0) > 0))
    # 480 ticks at 0.6 s a quarter, from tick 720 on at 0.3 s
    seconds = [min(t, 720) / 480 * 0.6 + max(t - 720, 0) / 480 * 0.3 for t, _, _ in ticks]
    ours = [event for event in parse_smf(two_tracks()).events if isinstance(event, KeyDown | KeyUp)]
    assert [event.at_s for event in ours[:-1]] == pytest.approx(seconds)
    assert [(e.pitch, isinstance(e, KeyDown)) for e in ours[:-1]] == [(p, d) for _, p, d in ticks]


@pytest.mark.parametrize("fifths", range(-7, 8))
@pytest.mark.parametrize("mode", ["major", "minor"])
def test_key_signatures_agree_with_music21(fifths: int, mode: str) -> None:
    """Meta event 59: sharps or flats, then 0 for major and 1 for minor (SMF 1.0)."""
    signature = bytes([0x00, 0xFF, 0x59, 0x02, fifths & 0xFF, mode == "minor"])
    recording = parse_smf(one_track(signature))
    expected = music21.key.KeySignature(fifths).asKey(mode)
    assert recording.key is not None
    assert recording.key.tonic == expected.tonic.name.replace("-", "b")
    assert recording.key.mode == mode


def one_track(content: bytes, division: int = 96, kind: int = 0) -> bytes:
    header = b"MThd" + (6).to_bytes(4, "big") + bytes([0, kind, 0, 1]) + division.to_bytes(2, "big")
    return header + b"MTrk" + len(content).to_bytes(4, "big") + content


@pytest.mark.parametrize(("frames", "per_second"), [(24, 24), (25, 25), (29, 29.97), (30, 30)])
def test_frames_a_second(frames: int, per_second: float) -> None:
    """SMF 1.0: a negative first byte of the division counts SMPTE frames, 29 is 30 drop frame."""
    division = ((256 - frames) << 8) | 40
    tempo = bytes.fromhex("00 FF 51 03 01 00 00")  # has no say where frames are counted
    recording = parse_smf(one_track(tempo + bytes([80, 0x90, 60, 64]), division))
    assert recording.events[0].at_s == pytest.approx(2 / per_second, rel=1e-4)
    assert recording.division is None


def test_every_key_is_released_at_the_end_and_only_once() -> None:
    content = bytes.fromhex("00 90 3C 40 00 91 3C 40 00 90 3E 40 10 80 3E 40 50 FF 2F 00")
    recording = parse_smf(one_track(content))
    assert recording.events[-2:] == (
        KeyUp(at_s=0.5, pitch=60, channel=0),
        KeyUp(at_s=0.5, pitch=60, channel=1),
    )
    assert held_keys(recording.events) == {}


def held_keys(events: tuple[PlayerEvent, ...]) -> dict[tuple[int, int], int]:
    """Return what is left down."""
    held: dict[tuple[int, int], int] = {}
    for event in events:
        if isinstance(event, KeyDown):
            held[event.channel, event.pitch] = event.velocity
        elif isinstance(event, KeyUp):
            held.pop((event.channel, event.pitch), None)
    return held


def test_leaves_out_a_track_by_its_name() -> None:
    midi = mido.MidiFile(type=1)
    for name, pitch in (("player", 60), ("livecont", 62)):
        midi.add_track(name).append(mido.Message("note_on", note=pitch, velocity=64))
    file = io.BytesIO()
    midi.save(file=file)
    whole = parse_smf(file.getvalue())
    player = parse_smf(file.getvalue(), leave_out=("livecont",))
    assert {e.pitch for e in whole.events if isinstance(e, KeyDown)} == {60, 62}
    assert {e.pitch for e in player.events if isinstance(e, KeyDown)} == {60}


def test_passes_over_foreign_chunks_and_malformed_metas() -> None:
    """SMF 1.0: chunks of other kinds are to be ignored."""
    tempo_of_two_bytes = bytes.fromhex("00 FF 51 02 01 00")
    track = one_track(tempo_of_two_bytes + bytes([0, 0x90, 60, 64]))
    foreign = b"XFIH" + (3).to_bytes(4, "big") + b"abc"
    assert parse_smf(track[:14] + foreign + track[14:]).events == parse_smf(track).events


@pytest.mark.parametrize(
    ("data", "complaint"),
    [
        (b"", "not a Standard MIDI File"),
        (b"RIFF" + PLAIN, "not a Standard MIDI File"),
        (PLAIN[:10], "the header is cut off"),
        (PLAIN[:20], "cut off: it has 0 of 1 tracks"),
        (PLAIN[:-1], "cut off inside track 1"),
        (one_track(b"\x00\x90\x3c"), "track 1 is cut off"),
        (one_track(b"\x00\x3c\x40"), "without a status"),
        (one_track(b"\x00\xf8"), "status byte 0xf8"),
        (one_track(b"\xff\xff\xff\xff\xff\x00"), "longer than four bytes"),
        (one_track(b"", kind=2), "format 2"),
        (one_track(b"", division=0), "0 ticks"),
        (one_track(b"", division=0x8001), "division"),
        (one_track(b"\x00\xf0\x7f\x00"), "cut off"),
    ],
)
def test_says_what_is_wrong(data: bytes, complaint: str) -> None:
    with pytest.raises(ScoreError, match=complaint):
        parse_smf(data)


def test_bounds_hold(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(smf, "MOST_EVENTS", 10)
    note = b"\x00\x90\x3c\x40"
    assert len(parse_smf(one_track(note * 10)).events) == 11
    with pytest.raises(ScoreError, match="more than 10 events"):
        parse_smf(one_track(note * 11))
    far = b"\xff\xff\xff\x7f\xb0\x40\x00" * 3  # three of the longest waits there are
    with pytest.raises(ScoreError, match="longer than 24 hours"):
        parse_smf(one_track(far, division=1))
    monkeypatch.setattr(smf, "MOST_BYTES", len(PLAIN) - 1)
    with pytest.raises(ScoreError, match="larger than"):
        parse_smf(PLAIN)


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(ScoreError, match="no such file"):
        read_smf(tmp_path / "a.mid")
    with pytest.raises(ScoreError, match="is a folder"):
        read_smf(tmp_path)
    broken = tmp_path / "b.mid"
    broken.write_bytes(PLAIN[:-1])
    with pytest.raises(ScoreError, match=r"b\.mid: the file is cut off"):
        read_smf(broken)


@given(st.binary(max_size=200))
def test_any_bytes_give_a_recording_or_a_clear_error(noise: bytes) -> None:
    for data in (noise, one_track(noise), PLAIN[: len(noise)] + noise):
        try:
            recording = parse_smf(data)
        except ScoreError:
            continue
        assert held_keys(recording.events) == {}


@given(st.data())
def test_a_damaged_file_gives_a_recording_or_a_clear_error(data: st.DataObject) -> None:
    whole = bytearray(two_tracks())
    for _ in range(data.draw(st.integers(0, 4))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(whole)))
    try:
        recording = parse_smf(bytes(whole[:cut]))
    except ScoreError:
        return
    times = [event.at_s for event in recording.events]
    assert times == sorted(times)


def struck(count: int, ticks: int) -> bytes:
    """So many strikes, so many ticks apart, at 96 ticks in half a second."""
    return one_track(
        b"".join(bytes([ticks, 0x90, 21 + n % 88, 64]) for n in range(count))
    )  # fmt: skip


def test_more_strikes_within_a_second_than_any_playing_has() -> None:
    most = smf.MOST_STRIKES_A_SECOND
    downs = [e for e in parse_smf(struck(most, 0)).events if isinstance(e, KeyDown)]
    assert len(downs) == most
    with pytest.raises(ScoreError, match=rf"^more than {most} notes within a second, at 0\.00 s"):
        parse_smf(struck(most + 1, 0))
    assert len(parse_smf(struck(2 * most, 1)).events) >= 2 * most  # 192 a second, as long as it is


def test_the_second_of_too_many_strikes_is_told() -> None:
    quiet, dense = bytes([96, 0x90, 60, 64]) * 4, bytes([0, 0x90, 61, 64]) * 3000
    second = bytes([0x81, 0x40, 0xB0, 64, 0])  # 192 ticks
    with pytest.raises(ScoreError, match=r"within a second, at 3\.00 s"):
        parse_smf(one_track(quiet + second + dense))


def test_tempo_changes_do_not_hide_how_dense_it_is() -> None:
    """5,000 notes along tempi of a millionth of a second a quarter."""
    one = bytes([1, 0xFF, 0x51, 3, 0, 0, 1, 1, 0x90, 60, 64, 16, 0x80, 60, 0])
    with pytest.raises(ScoreError, match="notes within a second, at"):
        parse_smf(one_track(one * 5000))
