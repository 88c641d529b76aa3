"""Sound to a WAV file: as loud as it may be, and never louder.

The sound is written to a file beside first, so that an hour of it needs no memory; then its peak is
known, and it is written again, scaled. The file that was asked for appears whole or not at all.

Conventions: one channel of float32; 16 or 24 bits a sample, least significant byte first (RIFF
WAVE, PCM). The peak is `PEAK` of full scale, 1 dB below it.
"""

from __future__ import annotations

import os
import tempfile
import wave
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

PEAK = 10 ** (-1 / 20)
BITS = (16, 24)
_PORTION = 1 << 18  # frames

Sound = npt.NDArray[np.float32]


def write_wav(
    path: Path,
    blocks: Iterable[Sound],
    *,
    rate_hz: int,
    bits: int,
    written: Callable[[int], object] = lambda _: None,
) -> int:
    """Write sound to a file and return how many frames it has.

    Args:
        path: the file; one that is there is written over.
        blocks: the sound, block by block.
        rate_hz: frames a second.
        bits: 16 or 24.
        written: told how many frames came, after every block.

    Raises:
        OSError: it can't be written; what was there before stays.
    """
    if bits not in BITS:
        raise ValueError(f"{bits} bits: 16 or 24 are possible")
    new = path.with_name(f".{path.name}.new")
    try:
        with tempfile.TemporaryFile(dir=path.parent) as aside:
            frames, peak = _set_aside(aside, blocks, written)
            aside.seek(0)
            with new.open("wb") as file:
                _write(file, aside, PEAK / peak if peak > 0 else 1.0, rate_hz, bits)
                file.flush()
                os.fsync(file.fileno())
        new.replace(path)
    except BaseException:
        with suppress(OSError):
            new.unlink(missing_ok=True)
        raise
    return frames


def _set_aside(
    aside: BinaryIO, blocks: Iterable[Sound], written: Callable[[int], object]
) -> tuple[int, float]:
    """Write the sound as it comes; return how many frames it has, and its peak."""
    frames, peak = 0, 0.0
    for block in blocks:
        aside.write(block.astype("<f4", copy=False).tobytes())
        frames += len(block)
        peak = max(peak, float(np.abs(block).max(initial=0.0)))
        written(frames)
    return frames, peak


def _write(file: BinaryIO, aside: BinaryIO, gain: float, rate_hz: int, bits: int) -> None:
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(bits // 8)
        out.setframerate(rate_hz)
        while portion := aside.read(4 * _PORTION):
            out.writeframesraw(_samples(np.frombuffer(portion, "<f4"), gain, bits))


def _samples(sound: Sound, gain: float, bits: int) -> bytes:
    """Return whole numbers of so many bits."""
    full = 2 ** (bits - 1) - 1
    whole = np.rint(sound.astype(np.float64) * (gain * full)).astype("<i4")
    if bits == 16:
        return bytes(whole.astype("<i2").tobytes())
    return bytes(whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
