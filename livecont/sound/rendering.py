"""Events to sound, not in real time: a whole performance on our strings.

Conventions: seconds from the performance's start; one channel of float32, block after block, as
loud as it comes: `sound.wav` brings it to the loudness of a file. The same events, voice and tuning
give the same samples.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from livecont.errors import ScoreError
from livecont.sequence.events import KeyDown, KeyUp, PlayerEvent
from livecont.sound.bank import VoiceBank
from livecont.sound.temperament import EQUAL, Temperament
from livecont.sound.voice import PLUCKED, Voice

RATES_HZ = (44_100, 48_000, 96_000)
STRINGS = 160  # a pedal held over a whole page
BLOCK_S = 1.0
RINGS_S = 8.0  # after the last event, at most
FADE_S = 0.05
MOST_S = 3 * 3600.0

Sound = npt.NDArray[np.float32]

_OFF, _ON, _CONTROL = 0x80, 0x90, 0xB0


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """What is played on: strings, pitch, temperament, and samples a second."""

    voice: Voice = PLUCKED
    a4_hz: float = 440.0
    temperament: Temperament = EQUAL
    rate_hz: int = 48_000


def length_s(events: Iterable[PlayerEvent]) -> float:
    """Return when the last event is, 0 where there is none."""
    return max((event.at_s for event in events), default=0.0)


def sounded(events: Iterable[PlayerEvent], instrument: Instrument) -> Iterator[Sound]:
    """Yield the performance block by block, up to where the last string has died away.

    Raises:
        ScoreError: there is nothing to hear, or more than `MOST_S` seconds.
    """
    events = tuple(events)
    last_s = length_s(events)
    if not any(isinstance(event, KeyDown) for event in events):
        raise ScoreError("no notes in it: there is nothing to hear")
    if last_s > MOST_S:
        raise ScoreError(f"longer than {MOST_S / 3600:.0f} hours: render it in portions")
    rate_hz = instrument.rate_hz
    bank = VoiceBank(
        sample_rate_hz=rate_hz,
        a4_hz=instrument.a4_hz,
        cents=instrument.temperament.away,
        voice=instrument.voice,
        strings=STRINGS,
        limited=False,
    )
    for event in events:
        bank.plan(_message(event), max(0, round(event.at_s * rate_hz)))
    block = round(BLOCK_S * rate_hz)
    end = round((last_s + RINGS_S) * rate_hz)
    while bank.frame < end:
        sound = bank.render(min(block, end - bank.frame))
        over = bank.frame > last_s * rate_hz and not bank.sounding
        if over:
            yield sound[: int(np.flatnonzero(sound)[-1]) + 1 if sound.any() else 0]
            return
        if bank.frame >= end:
            _fade(sound, round(FADE_S * rate_hz))
        yield sound


def _fade(sound: Sound, frames: int) -> None:
    """Let what still rings die away in the last frames."""
    frames = min(frames, len(sound))
    sound[len(sound) - frames :] *= np.linspace(1.0, 0.0, frames, dtype=np.float32)


def _message(event: PlayerEvent) -> bytes:
    if isinstance(event, KeyDown):
        return bytes((_ON | event.channel, event.pitch, event.velocity))
    if isinstance(event, KeyUp):
        return bytes((_OFF | event.channel, event.pitch, 64))
    return bytes((_CONTROL | event.channel, event.controller, event.value))
