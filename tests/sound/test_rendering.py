"""A performance as sound: in tune by analysis, in time, never too loud, the same each time."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest

from livecont.demo import load_piece, perform
from livecont.errors import ScoreError
from livecont.sequence.events import KeyDown, KeyUp, PedalMove, PlayerEvent
from livecont.sound.rendering import RINGS_S, Instrument, Sound, sounded
from livecont.sound.temperament import EQUAL
from livecont.sound.voice import PLUCKED, STRUCK, VOICES, Voice
from livecont.sound.wav import PEAK, write_wav
from livecont.tuning import load_temperaments
from tests.sound.heard import brightness_hz, cents, loudness, partial_hz

RATE_HZ = 48_000
BOTH = pytest.mark.parametrize("voice", [PLUCKED, STRUCK], ids=lambda voice: voice.name)


def strike(
    pitch: int, at_s: float = 0.0, for_s: float = 1.0, velocity: int = 90
) -> list[PlayerEvent]:
    return [
        KeyDown(at_s=at_s, pitch=pitch, velocity=velocity),
        KeyUp(at_s=at_s + for_s, pitch=pitch),
    ]


def whole(events: list[PlayerEvent], instrument: Instrument | None = None) -> Sound:
    return np.concatenate(list(sounded(events, instrument or Instrument(rate_hz=RATE_HZ))))


@BOTH
@pytest.mark.parametrize("name", load_temperaments())
def test_every_key_of_every_temperament_is_in_tune(voice: Voice, name: str) -> None:
    table = load_temperaments()[name]
    a4_hz = 415.0
    for pitch in range(60, 72):
        instrument = Instrument(voice=voice, a4_hz=a4_hz, temperament=table, rate_hz=RATE_HZ)
        sound = whole(strike(pitch, for_s=1.5), instrument)[RATE_HZ // 20 : RATE_HZ]
        wanted = a4_hz * 2 ** ((table.cents[pitch - 60] - table.cents[9]) / 1200)
        assert abs(cents(partial_hz(sound, wanted, RATE_HZ), wanted)) < 0.6


@BOTH
@pytest.mark.parametrize("pitch", [29, 36, 48, 84, 89, 96])
def test_low_and_high_keys_are_in_tune(voice: Voice, pitch: int) -> None:
    sound = whole(strike(pitch, for_s=2.0), Instrument(voice=voice))[RATE_HZ // 10 : 2 * RATE_HZ]
    wanted = 440.0 * 2 ** ((pitch - 69) / 12)
    second = partial_hz(sound[: RATE_HZ // 2], 2 * wanted, RATE_HZ)
    # stiffness draws the second partial up, in the treble more than in the bass (Fletcher 1964)
    assert 0.0 <= cents(second, 2 * wanted) + 0.3 < (2.0 if pitch < 60 else 6.0)
    assert abs(cents(partial_hz(sound, wanted, RATE_HZ), wanted)) < 0.8


@BOTH
def test_a_key_sounds_when_it_goes_down_and_is_damped_when_it_comes_up(voice: Voice) -> None:
    sound = whole(strike(60, at_s=0.5, for_s=0.5), Instrument(voice=voice))
    assert np.abs(sound[: RATE_HZ // 2]).max() == 0.0
    assert np.flatnonzero(sound)[0] - RATE_HZ // 2 <= 2
    ringing = loudness(sound[round(0.9 * RATE_HZ) : RATE_HZ])
    after = loudness(sound[round(1.25 * RATE_HZ) : round(1.3 * RATE_HZ)])
    assert after < 0.01 * ringing


@BOTH
def test_a_held_string_dies_away_and_the_bass_rings_longer(voice: Voice) -> None:
    def dies(pitch: int) -> float:
        sound = whole(strike(pitch, for_s=3.5), Instrument(voice=voice))
        early = loudness(sound[RATE_HZ // 2 : RATE_HZ])
        return loudness(sound[3 * RATE_HZ : round(3.4 * RATE_HZ)]) / early

    low, high = dies(41), dies(84)
    assert high < low < 0.9


def test_force_makes_struck_strings_louder_and_brighter_and_plucked_ones_hardly() -> None:
    ratios = {}
    for name, voice in VOICES.items():
        soft, loud = (
            whole(strike(60, velocity=velocity), Instrument(voice=voice))[: RATE_HZ // 2]
            for velocity in (30, 120)
        )
        ratios[name] = loudness(loud) / loudness(soft)
        if name == "struck":
            assert brightness_hz(loud, RATE_HZ) > 1.1 * brightness_hz(soft, RATE_HZ)
    assert ratios["struck"] > 4
    assert 1.0 < ratios["plucked"] < 1.5


def test_the_two_voices_are_two() -> None:
    bright = [
        brightness_hz(whole(strike(60), Instrument(voice=voice))[: RATE_HZ // 2], RATE_HZ)
        for voice in (STRUCK, PLUCKED)
    ]
    assert bright[1] > 1.5 * bright[0]


def test_the_pedal_holds_what_sounds() -> None:
    pedal: list[PlayerEvent] = [
        PedalMove(at_s=0.1, controller=64, value=127),
        PedalMove(at_s=2.5, controller=64, value=0),
    ]
    held = whole([*strike(60, for_s=0.5), *pedal], Instrument(voice=STRUCK))
    dry = whole(strike(60, for_s=0.5), Instrument(voice=STRUCK))
    late = slice(round(0.8 * RATE_HZ), RATE_HZ)
    assert loudness(held[late]) > 50 * loudness(dry[late])
    assert loudness(held[2 * RATE_HZ : round(2.4 * RATE_HZ)]) > 0.3 * loudness(held[late])


def test_it_ends_when_all_is_silent_and_fades_what_is_left_ringing() -> None:
    damped = whole(strike(60, for_s=0.5))
    assert len(damped) <= 2 * RATE_HZ
    assert np.abs(damped[-100:]).max() < 1e-4
    left: list[PlayerEvent] = [KeyDown(at_s=0.0, pitch=36, velocity=100)]
    sound = whole(left)
    assert len(sound) == round(RINGS_S * RATE_HZ)
    assert np.abs(sound[-3:]).max() < 1e-4


def test_nothing_to_hear_and_too_much_are_told() -> None:
    with pytest.raises(ScoreError, match="nothing to hear"):
        list(sounded([KeyUp(at_s=1.0, pitch=60)], Instrument()))
    with pytest.raises(ScoreError, match="in portions"):
        list(sounded(strike(60, at_s=20_000.0), Instrument()))


# --- files --------------------------------------------------------------------------------------


def read(path: Path) -> tuple[wave._wave_params, bytes]:
    with wave.open(str(path), "rb") as file:
        return file.getparams(), file.readframes(file.getnframes())


def values(data: bytes, bits: int) -> list[int]:
    size = bits // 8
    return [
        int.from_bytes(data[at : at + size], "little", signed=True)
        for at in range(0, len(data), size)
    ]


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_a_piece_as_a_file_has_its_peak_where_it_is_to_be(
    tmp_path: Path, bits: int, rate_hz: int
) -> None:
    path = tmp_path / "piece.wav"
    events = perform(load_piece("rising-gigue"))
    came: list[int] = []
    blocks = sounded(events, Instrument(voice=STRUCK, rate_hz=rate_hz))
    frames = write_wav(path, blocks, rate_hz=rate_hz, bits=bits, written=came.append)
    params, data = read(path)
    assert (params.nchannels, params.sampwidth, params.framerate) == (1, bits // 8, rate_hz)
    assert params.nframes == frames == came[-1]
    assert came == sorted(came)
    most = max(abs(value) for value in values(data, bits))
    assert most == pytest.approx(PEAK * (2 ** (bits - 1) - 1), abs=1)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["piece.wav"]


@pytest.mark.parametrize("bits", [16, 24])
def test_another_library_reads_the_same_sound(tmp_path: Path, bits: int) -> None:
    miniaudio = pytest.importorskip("miniaudio", reason="the extra 'sound' is not installed")
    path = tmp_path / "piece.wav"
    sound = whole(strike(60))
    write_wav(path, [sound], rate_hz=RATE_HZ, bits=bits)
    info = miniaudio.get_file_info(str(path))
    assert (info.nchannels, info.sample_rate, info.num_frames) == (1, RATE_HZ, len(sound))
    theirs = np.array(miniaudio.wav_read_file_f32(str(path)).samples)
    ours = sound * (PEAK / np.abs(sound).max())
    assert np.abs(theirs - ours).max() < 2.0 ** (2 - bits)


def test_the_same_events_give_the_same_bytes(tmp_path: Path) -> None:
    events = perform(load_piece("lament"))
    files = []
    for number in range(2):
        path = tmp_path / f"{number}.wav"
        write_wav(path, sounded(events, Instrument()), rate_hz=RATE_HZ, bits=24)
        files.append(path.read_bytes())
    assert files[0] == files[1]


def test_eighty_keys_at_once_do_not_clip(tmp_path: Path) -> None:
    path = tmp_path / "all.wav"
    events = [event for pitch in range(24, 104) for event in strike(pitch, velocity=127)]
    sound = whole(events, Instrument(voice=STRUCK))
    assert np.abs(sound).max() > 1.0  # as it comes it would
    write_wav(path, [sound], rate_hz=RATE_HZ, bits=16)
    _, data = read(path)
    most = max(abs(value) for value in values(data, 16))
    assert most <= round(PEAK * 32767)


def test_what_fails_in_the_middle_leaves_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"before")

    def broken() -> list[Sound]:
        raise ScoreError("no more")

    with pytest.raises(ScoreError):
        write_wav(path, (block for block in broken()), rate_hz=RATE_HZ, bits=16)
    assert path.read_bytes() == b"before"
    assert [one.name for one in tmp_path.iterdir()] == ["a.wav"]
    with pytest.raises(ValueError, match="8 bits"):
        write_wav(path, [], rate_hz=RATE_HZ, bits=8)


def test_the_length_of_silence_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "quiet.wav"
    write_wav(path, [np.zeros(100, np.float32)], rate_hz=RATE_HZ, bits=16)
    params, data = read(path)
    assert (params.nframes, set(data)) == (100, {0})


def test_equal_temperament_is_what_is_taken_where_none_is_said() -> None:
    assert Instrument().temperament is EQUAL
