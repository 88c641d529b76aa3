"""Our own sound: in tune, in time, never clipping, never hanging."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from livecont.errors import PortError
from livecont.live.clock import ManualClock, SystemClock
from livecont.live.voice_output import LATENCY_S, PORTION_S, CardTime, VoiceOutput
from livecont.live.wire import OutputChoice, OutputKind
from livecont.sound.bank import SAMPLE_RATE_HZ, STRINGS, VoiceBank

Sound = npt.NDArray[np.float32]


def on(pitch: int, velocity: int = 90, channel: int = 0) -> bytes:
    return bytes((0x90 | channel, pitch, velocity))


def off(pitch: int, channel: int = 0) -> bytes:
    return bytes((0x80 | channel, pitch, 64))


def pedal(value: int, controller: int = 64, channel: int = 0) -> bytes:
    return bytes((0xB0 | channel, controller, value))


def seconds(bank: VoiceBank, length_s: float) -> Sound:
    return bank.render(round(length_s * SAMPLE_RATE_HZ))


def loudness(sound: Sound) -> float:
    return float(np.sqrt(np.mean(np.square(sound, dtype=np.float64))))


def strongest_hz(sound: Sound) -> float:
    """The strongest frequency, between the bins of a windowed Fourier transform."""
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    peak = int(spectrum.argmax())
    left, middle, right = np.log(spectrum[peak - 1 : peak + 2])
    return float(peak + (left - right) / (2 * (left - 2 * middle + right))) * (
        SAMPLE_RATE_HZ / len(sound)
    )


def cents_between(one_hz: float, other_hz: float) -> float:
    return 1200 * math.log2(one_hz / other_hz)


# equal temperament at 440 Hz, frequencies of C4, A4, C6 as printed in common tables
@pytest.mark.parametrize(("pitch", "hz"), [(60, 261.626), (69, 440.0), (84, 1046.502)])
def test_strings_are_in_tune(pitch: int, hz: float) -> None:
    bank = VoiceBank()
    bank.take(on(pitch))
    # stiffness draws the first partial up by half of B = 0.0003: a quarter of a cent
    assert abs(cents_between(strongest_hz(seconds(bank, 1.0)), hz)) < 1.0


def test_the_pitch_standard_and_each_pitch_class_can_be_moved() -> None:
    cents = (0.0,) * 9 + (-20.0, 0.0, 0.0)
    bank = VoiceBank(a4_hz=415.0, cents=cents)
    bank.take(on(69))
    heard_hz = strongest_hz(seconds(bank, 1.0))
    assert cents_between(heard_hz, 415.0) == pytest.approx(-20.0, abs=1.0)
    with pytest.raises(ValueError, match="12 pitch classes"):
        VoiceBank(cents=(0.0,))


def test_a_note_starts_at_its_very_sample() -> None:
    bank = VoiceBank()
    for frame in (0, 100, 777, 5_000):
        bank.plan(on(60 + frame % 12), frame)
        bank.plan(bytes((0xB0, 120, 0)), frame + 50)  # MIDI 1.0: all sound off
    sound = bank.render(6_000)
    heard = np.flatnonzero(np.abs(sound) > 0)
    for frame in (0, 100, 777, 5_000):
        # a string starts from rest: its first sample is 0, the next is not
        assert frame + 1 in heard
        assert not ({frame, frame - 1, frame + 50} & set(heard.tolist()))


@given(st.lists(st.integers(1, 700), min_size=1, max_size=12))
@settings(max_examples=30, deadline=None)
def test_the_sound_does_not_depend_on_the_size_of_the_portions(sizes: list[int]) -> None:
    def planned() -> VoiceBank:
        bank = VoiceBank()
        bank.plan(on(60), 10)
        bank.plan(on(64), 300)
        bank.plan(off(60), 611)
        return bank

    whole = planned().render(sum(sizes))
    bank = planned()
    parts = np.concatenate([bank.render(size) for size in sizes])
    assert np.abs(whole - parts).max() < 1e-5


def test_it_is_the_sum_of_damped_swings_that_it_claims_to_be() -> None:
    """The matrix form against the plain formula, sample by sample."""
    bank = VoiceBank()
    bank.take(on(45))
    amplitudes, rates = bank._state[0].copy(), bank._rates[0].copy()
    sound = bank.render(1_000)
    n = np.arange(1_000)
    plain = (amplitudes[:, None] * np.exp(rates[:, None] * n)).imag.sum(axis=0)
    assert np.abs(sound - plain).max() < 1e-5


def test_a_stronger_stroke_is_louder_and_brighter() -> None:
    heard = []
    for velocity in (20, 70, 127):
        bank = VoiceBank()
        bank.take(on(60, velocity))
        heard.append(seconds(bank, 0.5))
    levels = [loudness(sound) for sound in heard]
    assert levels == sorted(levels)
    assert levels[2] > 4 * levels[0]
    centres = []
    for sound in heard:
        spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
        centres.append(float((np.arange(len(spectrum)) * spectrum).sum() / spectrum.sum()))
    assert centres == sorted(centres)


def test_a_released_string_is_damped_and_a_held_one_rings() -> None:
    held, released = VoiceBank(), VoiceBank()
    for bank in (held, released):
        bank.take(on(60))
        seconds(bank, 0.2)
    released.take(off(60))
    for bank in (held, released):
        seconds(bank, 0.15)
    assert loudness(seconds(released, 0.1)) < 0.002 * loudness(seconds(held, 0.1))
    seconds(released, 0.5)
    assert released.sounding == 0
    assert held.sounding == 1


@pytest.mark.parametrize("controller", [64, 66], ids=["sustain", "sostenuto"])
def test_a_pedal_holds_what_was_struck_before_it_was_lifted(controller: int) -> None:
    bank = VoiceBank()
    bank.take(on(60))
    bank.take(pedal(127, controller))
    bank.take(off(60))
    seconds(bank, 0.5)
    assert bank.sounding == 1
    bank.take(pedal(0, controller))
    seconds(bank, 1.0)
    assert bank.sounding == 0


def test_sostenuto_holds_only_keys_that_were_down() -> None:
    bank = VoiceBank()
    bank.take(pedal(127, 66))
    bank.take(on(60))
    bank.take(off(60))
    seconds(bank, 1.0)
    assert bank.sounding == 0


def test_a_pedal_of_another_channel_holds_nothing() -> None:
    bank = VoiceBank()
    bank.take(pedal(127, channel=5))
    bank.take(on(60))
    bank.take(off(60))
    seconds(bank, 1.0)
    assert bank.sounding == 0


def test_the_soft_pedal_softens() -> None:
    plain, soft = VoiceBank(), VoiceBank()
    soft.take(pedal(127, 67))
    for bank in (plain, soft):
        bank.take(on(60))
    assert loudness(seconds(soft, 0.3)) < 0.7 * loudness(seconds(plain, 0.3))


def test_all_notes_off_leaves_nothing() -> None:
    bank = VoiceBank()
    for pitch in range(40, 80):
        bank.take(on(pitch))
    bank.take(pedal(0, 123))
    seconds(bank, 1.0)
    assert bank.sounding == 0


def test_everything_at_once_does_not_clip() -> None:
    bank = VoiceBank()
    for pitch in range(21, 109):  # more keys than strings: the quietest give way
        bank.take(on(pitch, 127))
    assert bank.sounding == STRINGS
    sound = seconds(bank, 0.5)
    assert np.isfinite(sound).all()
    assert 0.6 < np.abs(sound).max() < 1.0


def test_one_note_is_gentle_and_not_bent() -> None:
    bank = VoiceBank()
    bank.take(on(60, 127))
    assert 0.05 < np.abs(seconds(bank, 0.5)).max() < 0.3


def test_a_long_silence_costs_and_sounds_nothing() -> None:
    bank = VoiceBank()
    bank.take(on(60))
    seconds(bank, 20.0)
    assert bank.sounding == 0
    assert not seconds(bank, 0.1).any()


def test_what_is_forgotten_does_not_sound() -> None:
    bank = VoiceBank()
    bank.plan(on(60), 10)
    bank.forget()
    assert not bank.render(1_000).any()


@given(st.lists(st.binary(min_size=3, max_size=3).filter(lambda m: max(m[1:]) < 128), max_size=30))
@settings(max_examples=50, deadline=None)
def test_any_message_is_taken(messages: list[bytes]) -> None:
    bank = VoiceBank()
    for message in messages:
        bank.take(message)
        assert np.abs(bank.render(64)).max(initial=0.0) < 1.0


def test_card_time_follows_the_earliest_askings_and_a_drifting_card() -> None:
    card, clock = CardTime(SAMPLE_RATE_HZ), ManualClock(100.0)
    frames = round(PORTION_S * SAMPLE_RATE_HZ)
    slow = 1 + 200e-6  # this card's quartz is 200 ppm slow
    for number in range(2_000):
        late_s = 0.004 if number % 3 else 0.0
        card.asked(100.0 + number * PORTION_S * slow + late_s, number * frames)
        clock.sleep_until(100.0 + number * PORTION_S * slow)
    frame = card.frame_at(clock.now_s() + LATENCY_S)
    assert frame == pytest.approx(1_999 * frames, abs=2)  # 2 frames are 0.04 ms


def test_card_time_starts_again_after_a_gap() -> None:
    card = CardTime(SAMPLE_RATE_HZ)
    assert card.frame_at(50.0) == 0
    card.asked(100.0, 0)
    card.asked(160.0, 480)  # the machine slept for a minute
    assert card.frame_at(160.0 + LATENCY_S) == 480


@pytest.fixture
def null_card() -> Iterator[VoiceOutput]:
    pytest.importorskip("miniaudio", reason="the extra 'sound' is not installed")
    output = VoiceOutput(OutputChoice(kind=OutputKind.INTERNAL, sound_system="null"))
    yield output
    output.close()


def test_a_card_plays_the_bank_with_notes_at_their_moment(null_card: VoiceOutput) -> None:
    clock = SystemClock()
    due_s = clock.now_s() + 0.2
    null_card.send(on(60), due_s)
    planned_frame = null_card._bank._planned[0][0]
    clock.sleep_until(due_s + 0.1)
    assert null_card.present()
    assert null_card._bank.sounding == 1
    assert null_card._bank.frame > planned_frame
    # where the card's own account of time, grown meanwhile, has that moment now
    assert null_card._time.frame_at(due_s) == pytest.approx(planned_frame, abs=480)


def test_a_fault_in_the_card_s_thread_is_told(null_card: VoiceOutput) -> None:
    clock = SystemClock()
    null_card._bank.plan(b"\x90", 0)  # half a message, which never gets here otherwise
    ends_s = clock.now_s() + 5.0
    while null_card.present() and clock.now_s() < ends_s:
        clock.sleep_until(clock.now_s() + 0.01)
    assert not null_card.present()
    assert null_card.reopen()
    assert null_card.present()


def test_a_card_that_is_no_card_is_not_taken_for_one(monkeypatch: pytest.MonkeyPatch) -> None:
    miniaudio = pytest.importorskip("miniaudio", reason="the extra 'sound' is not installed")
    real = miniaudio.PlaybackDevice

    def only_null(**kwargs: object) -> object:
        return real(**{**kwargs, "backends": [miniaudio.Backend.NULL]})

    monkeypatch.setattr(miniaudio, "PlaybackDevice", only_null)
    with pytest.raises(PortError, match="no sound card can be opened"):
        VoiceOutput(OutputChoice(kind=OutputKind.INTERNAL))
