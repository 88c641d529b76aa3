"""Plays our own small sound through the machine's sound card, in the sounding process.

Messages are wanted a little ahead of their time (`lead_s`), because a sound card takes sound in
portions before it is heard; they then start at their very sample. `CardTime` tells which sample
that is. The player's own notes start with the next portion.

Conventions: seconds on the system clock; frames as counted by the bank. miniaudio (the extra
`sound`) and numpy are imported only when this sound is asked for.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator
from typing import Any

from livecont.errors import PortError
from livecont.live.clock import SystemClock
from livecont.live.quiet import silenced_stderr
from livecont.live.wire import OutputChoice

PORTION_S = 0.010
PORTIONS = 2  # one plays while the next one is made
LATENCY_S = PORTION_S * (PORTIONS - 1)
MARGIN_S = 0.005

_START_PATIENCE_S = 3.0
_GONE_AFTER_S = 1.0  # without the card asking for sound
_FADE_S = 0.2
_DRIFT = 3e-4  # a card's clock may be off by this much; quartz is better
_GAP_S = 0.05  # the card left this much out: it stumbled, or the machine slept


class CardTime:
    """Tells when a frame is heard, from when the card asked for it.

    The card asks late at times and never early, so the earliest asking counts. It drifts against
    our clock, so what counts rises slowly until a new earliest one comes.

    >>> card = CardTime(48_000)
    >>> card.asked(100.0, 0)
    >>> card.asked(100.013, 480)  # 3 ms late
    >>> card.frame_at(100.02 + LATENCY_S)
    960
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._start_s: float | None = None  # when frame 0 was, or would have been, asked for
        self._asked_s = 0.0

    def asked(self, now_s: float, frame: int) -> None:
        """Note that the card asks for `frame` now."""
        start_s = now_s - frame / self._rate_hz
        if self._start_s is None or start_s - self._start_s > _GAP_S:
            self._start_s = start_s
        else:
            risen_s = self._start_s + _DRIFT * (now_s - self._asked_s)
            self._start_s = min(start_s, risen_s)
        self._asked_s = now_s

    def frame_at(self, heard_s: float) -> int:
        """Return the frame that is heard at `heard_s`; 0 before the card has asked for any."""
        if self._start_s is None:
            return 0
        return round((heard_s - LATENCY_S - self._start_s) * self._rate_hz)


class VoiceOutput:
    """The machine's sound card with our strings on it."""

    lead_s = LATENCY_S + PORTION_S + MARGIN_S
    lossy = False

    def __init__(self, choice: OutputChoice) -> None:
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # its products are small, threads cost
        self._choice = choice
        self._clock = SystemClock()
        self._miniaudio = _miniaudio()
        self._device: Any = None
        self._open()

    def send(self, message: bytes, at_s: float) -> None:
        """Have `message` heard at `at_s`, or as soon as the card allows."""
        self._bank.plan(message, self._time.frame_at(at_s))

    def forget(self) -> None:
        """Drop what is planned and not yet rendered."""
        self._bank.forget()

    def present(self) -> bool:
        """Say whether the card still asks for sound."""
        return self._fault is None and self._clock.now_s() - self._asked_s < _GONE_AFTER_S

    def answers(self) -> bool:
        """Say the same; there is no deeper way to ask."""
        return self.present()

    def reopen(self) -> bool:
        """Try to open the card again; say whether that went well."""
        self._stop()
        try:
            self._open()
        except PortError:
            return False
        return True

    def flush(self, patience_s: float) -> None:
        """Do nothing: closing lets the last notes sound."""

    def close(self) -> None:
        """Let the last notes fade, then close the card."""
        if self.present():
            self._clock.sleep_until(self._clock.now_s() + LATENCY_S + _FADE_S)
        self._stop()

    def _open(self) -> None:
        from livecont.sound.bank import SAMPLE_RATE_HZ, VoiceBank

        self._bank = VoiceBank(a4_hz=self._choice.a4_hz, cents=self._choice.cents)
        self._time = CardTime(SAMPLE_RATE_HZ)
        self._fault: Exception | None = None
        self._asked_s = 0.0
        miniaudio, wanted = self._miniaudio, self._choice.sound_system
        try:
            backends = [miniaudio.Backend[wanted.upper()]] if wanted else []
        except KeyError as error:
            known = ", ".join(backend.name.lower() for backend in miniaudio.Backend)
            raise PortError(f"no sound system {wanted!r}: known are {known}") from error
        try:
            with silenced_stderr():
                self._device = miniaudio.PlaybackDevice(
                    output_format=miniaudio.SampleFormat.FLOAT32,
                    nchannels=1,
                    sample_rate=SAMPLE_RATE_HZ,
                    buffersize_msec=round(PORTION_S * 1000),
                    callback_periods=PORTIONS,
                    backends=backends,
                    app_name=self._choice.client,
                )
                self._start(self._device)
        except miniaudio.MiniaudioError as error:
            self._stop()
            raise PortError(
                f"no sound card can be opened ({error.args[0]}); choose a MIDI output instead"
            ) from error

    def _start(self, device: Any) -> None:
        if device.backend == "Null" and self._choice.sound_system != "null":
            raise self._miniaudio.MiniaudioError("there is none")
        self.name = f"internal ({device.backend})"
        portions = self._portions(self._bank, self._time, self._clock.now_s)
        next(portions)
        device.start(portions)
        ends_s = self._clock.now_s() + _START_PATIENCE_S
        while self._asked_s == 0.0 and self._clock.now_s() < ends_s:
            self._clock.sleep_until(self._clock.now_s() + 0.005)
        if self._asked_s == 0.0:
            raise self._miniaudio.MiniaudioError("it opens but asks for no sound")

    def _portions(
        self, bank: Any, time: CardTime, now_s: Callable[[], float]
    ) -> Generator[Any, int, None]:
        """Give the card what it asks for; runs in the card's own thread."""
        frames = yield b""
        while True:
            self._asked_s = now_s()
            time.asked(self._asked_s, bank.frame)
            try:
                sound = bank.render(frames).tobytes()
            except Exception as error:  # raised into C it would only be printed
                self._fault = error  # `present` tells
                sound = bytes(4 * frames)
            frames = yield sound

    def _stop(self) -> None:
        device, self._device = self._device, None
        if device is not None:
            with silenced_stderr():
                device.close()


def _miniaudio() -> Any:
    try:
        import miniaudio
        import numpy  # noqa: F401 -- miniaudio works without, our strings don't
    except ImportError as error:
        raise PortError(
            f"our own sound needs the extra 'sound' ({error}): pip install miniaudio"
        ) from error
    return miniaudio
