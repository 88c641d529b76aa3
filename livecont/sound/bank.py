"""Strings that sound: our own instrument, computed, played by MIDI messages.

A string is a sum of partials that each swing and die away by themselves. A partial of complex
rate s (its decay and its frequency) is exp(s n) at sample n, so a stretch of up to 256 samples of
all partials of all strings is one product of two small matrices, exp(s 16 a) and exp(s b) with
n = 16 a + b, which both are made once for each string. Every note starts, stops and changes at its
very sample, whatever the size of the stretches. What the partials are, the voice says
(`sound.voice`).

The damper falls at the release unless the sustain pedal (64) or the sostenuto pedal (66) holds the
string; the soft pedal (67) softens new strokes.

Conventions: the bank counts frames from 0; a message planned for a frame that has passed applies
at the next one. `render` gives one channel of float32, always within -1..1 where the bank limits.
Pitches are MIDI numbers; equal temperament from `a4_hz`, each pitch class (C first) moved by
`cents`.
"""

from __future__ import annotations

import heapq
import threading
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from livecont.sound.voice import SMALL, TO_A_THOUSANDTH, Voice

SAMPLE_RATE_HZ = 48_000
STRINGS = 64  # that sound at a time; the quietest gives way to one more

_SIDE = 16
_STRETCH = _SIDE * _SIDE
_SILENCE = 2e-5  # below this a string has ended
_KNEE = 0.6  # up to here the sum of all strings is left as it is

_NOTE_OFF, _NOTE_ON, _CONTROL = 0x80, 0x90, 0xB0
_SUSTAIN, _SOSTENUTO, _SOFT = 64, 66, 67
_ALL_SOUND_OFF, _ALL_NOTES_OFF = 120, 123


@dataclass(slots=True)
class _String:
    """What holds a sounding string."""

    channel: int
    pitch: int
    key_down: bool = True
    caught: bool = False  # by the sostenuto pedal
    damped: bool = False


class VoiceBank:
    """All strings of the instrument, played by MIDI messages.

    >>> bank = VoiceBank()
    >>> bank.plan(bytes((0x90, 69, 100)), at_frame=48)
    >>> sound = bank.render(96)
    >>> bool((sound[:49] == 0).all()), bool(sound[49] > 0)
    (True, True)
    """

    def __init__(
        self,
        *,
        sample_rate_hz: int = SAMPLE_RATE_HZ,
        a4_hz: float = 440.0,
        cents: Sequence[float] = (0.0,) * 12,
        voice: Voice = SMALL,
        strings: int = STRINGS,
        limited: bool = True,
    ) -> None:
        if len(cents) != 12:
            raise ValueError(f"12 pitch classes want 12 values of cents, not {len(cents)}")
        self.frame = 0  # the next to be rendered
        self._rate_hz = sample_rate_hz
        self._a4_hz = a4_hz
        self._cents = tuple(cents)
        self._lock = threading.Lock()  # planning and rendering may be two threads
        self._planned: list[tuple[int, int, bytes]] = []
        self._arrived = 0
        self._strings: dict[int, _String] = {}  # by slot
        self._pedals: dict[tuple[int, int], int] = {}  # (channel, controller): value
        self._voice, self._slots, self._is_limited = voice, strings, limited
        shape = (strings, voice.partials)
        self._state = np.zeros(shape, np.complex128)
        self._rates = np.zeros(shape, np.complex128)
        self._coarse = np.zeros((*shape, _SIDE), np.complex64)
        self._fine = np.zeros((*shape, _SIDE), np.complex64)

    @property
    def sounding(self) -> int:
        """How many strings sound."""
        return len(self._strings)

    def plan(self, message: bytes, at_frame: int) -> None:
        """Have one MIDI message apply at `at_frame`."""
        with self._lock:
            heapq.heappush(self._planned, (at_frame, self._arrived, message))
            self._arrived += 1

    def forget(self) -> None:
        """Drop everything planned that has not been rendered."""
        with self._lock:
            self._planned.clear()

    def render(self, frames: int) -> npt.NDArray[np.float32]:
        """Return the next `frames` samples, shape (frames,)."""
        sound = np.zeros(frames, np.float32)
        end, done = self.frame + frames, 0
        while done < frames:
            following = self._apply_until(self.frame, end)
            stretch = min(following - self.frame, _STRETCH)
            if self._strings:
                sound[done : done + stretch] = self._swing(stretch)
            done += stretch
            self.frame += stretch
        return _limited(sound) if self._is_limited else sound

    def take(self, message: bytes) -> None:
        """Apply one MIDI message now, before the next frame; what means nothing here is ignored."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == _NOTE_ON and message[2] > 0:
            self._strike(channel, message[1], message[2])
        elif kind in (_NOTE_ON, _NOTE_OFF):
            self._key_up(channel, message[1])
        elif kind == _CONTROL:
            self._control(channel, message[1], message[2])

    # --- playing ----------------------------------------------------------------------------------

    def _apply_until(self, frame: int, end: int) -> int:
        """Apply what is planned up to `frame`; return the frame of the next, at most `end`."""
        while True:
            with self._lock:
                if not self._planned or self._planned[0][0] > frame:
                    return min(end, self._planned[0][0]) if self._planned else end
                message = heapq.heappop(self._planned)[2]
            self.take(message)

    def _strike(self, channel: int, pitch: int, velocity: int) -> None:
        force = velocity / 127
        if self._pedals.get((channel, _SOFT), 0) >= 64:
            force *= 0.6
        slot = self._free_slot()
        self._strings[slot] = _String(channel, pitch)
        frequency_hz = self._a4_hz * 2 ** ((pitch - 69 + self._cents[pitch % 12] / 100) / 12)
        swing = self._voice.swing(frequency_hz, pitch, force)
        strength = np.where(swing.hz > 0.45 * self._rate_hz, 0.0, swing.strength)  # mirrored soon
        self._state[slot] = strength  # only the imaginary part is heard: it starts from 0
        turning = (-swing.decay + 2j * np.pi * swing.hz) / self._rate_hz
        self._set_rates(slot, turning.astype(np.complex128))

    def _free_slot(self) -> int:
        for slot in range(self._slots):
            if slot not in self._strings:
                return slot
        return int(np.abs(self._state).sum(axis=1).argmin())

    def _set_rates(self, slot: int, rates: npt.NDArray[np.complex128]) -> None:
        steps = np.arange(_SIDE)
        self._rates[slot] = rates
        self._fine[slot] = np.exp(rates[:, None] * steps)
        self._coarse[slot] = np.exp(rates[:, None] * (steps * _SIDE))

    def _key_up(self, channel: int, pitch: int) -> None:
        for slot, string in self._strings.items():
            if string.key_down and (string.channel, string.pitch) == (channel, pitch):
                string.key_down = False
                self._let_fall(slot, string)

    def _let_fall(self, slot: int, string: _String) -> None:
        """Let the damper fall on a string that nothing holds."""
        held = string.key_down or string.caught
        if held or string.damped or self._pedals.get((string.channel, _SUSTAIN), 0) >= 64:
            return
        string.damped = True
        damping = TO_A_THOUSANDTH / self._voice.damped_in_s / self._rate_hz
        self._set_rates(slot, self._rates[slot] - damping)

    def _control(self, channel: int, controller: int, value: int) -> None:
        if controller == _ALL_SOUND_OFF:
            self._strings = {
                slot: one for slot, one in self._strings.items() if one.channel != channel
            }
            return
        if controller in (_SUSTAIN, _SOSTENUTO, _SOFT):
            self._pedals[channel, controller] = value
        for slot, string in self._strings.items():
            if string.channel != channel:
                continue
            if controller == _SOSTENUTO:
                string.caught = value >= 64 and (string.caught or string.key_down)
            elif controller == _ALL_NOTES_OFF:
                string.key_down = False
            self._let_fall(slot, string)

    # --- sounding ---------------------------------------------------------------------------------

    def _swing(self, frames: int) -> npt.NDArray[np.float32]:
        """Return up to `_STRETCH` samples of all strings, and let them swing on by as many."""
        slots = np.fromiter(self._strings, np.intp, len(self._strings))
        rows = -(-frames // _SIDE)
        state = self._state[slots]
        coarse = (state[:, :, None] * self._coarse[slots, :, :rows]).reshape(-1, rows)
        fine = self._fine[slots].reshape(-1, _SIDE)
        sound = (coarse.T.astype(np.complex64) @ fine).imag.reshape(-1)[:frames]
        state *= np.exp(self._rates[slots] * frames)
        self._state[slots] = state
        for slot, loudness in zip(slots.tolist(), np.abs(state).sum(axis=1).tolist(), strict=True):
            if loudness < _SILENCE:
                del self._strings[slot]
        return np.ascontiguousarray(sound, np.float32)


def _limited(sound: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Bend what is above the knee so that nothing reaches 1."""
    loud = np.abs(sound)
    if loud.max(initial=0.0) <= _KNEE:
        return sound
    room = np.float32(0.9999 - _KNEE)  # the last ten-thousandth is lost to rounding
    bent = np.sign(sound) * (_KNEE + room * np.tanh((loud - _KNEE) / room))
    return np.where(loud > _KNEE, bent, sound).astype(np.float32)
