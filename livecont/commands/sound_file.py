"""Writing a sound file: its options, and the file with its progress, for every command that does.

Conventions: an option that was not given is None; a4 in Hz.
"""

from __future__ import annotations

import contextlib
import math
import os
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from livecont.sequence.events import PlayerEvent
    from livecont.sound.rendering import Instrument

Command = Callable[..., Any]

LOW_PITCH_HZ = 415.0
SUFFIXES = (".wav", ".wave")
_OPTIONS = (
    click.option("--voice", metavar="NAME", help="The strings: plucked (as usual), or struck."),
    click.option(
        "--a4", metavar="HZ", type=click.FloatRange(380, 480), help="Pitch of a1: 440, 415 …"
    ),
    click.option("--temperament", metavar="NAME", help="equal, vallotti, meantone-quarter …"),
    click.option("--bits", metavar="N", type=int, help="16 (as usual) or 24 bits a sample."),
    click.option("--rate", metavar="HZ", type=int, help="44100, 48000 (as usual) or 96000."),
)


def sound_options(command: Command) -> Command:
    """Add how a sound file is to sound."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def instrument_of(given: dict[str, Any]) -> tuple[Instrument, int]:
    """Return the instrument of the options, and the bits a sample.

    Raises:
        ConfigError: for a name or number that there is none of.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # one order of sums: the same bytes
    from livecont.errors import ConfigError, unknown
    from livecont.sound.rendering import RATES_HZ, Instrument
    from livecont.sound.voice import VOICES
    from livecont.sound.wav import BITS
    from livecont.tuning import temperament_named

    voice, bits, rate_hz = given["voice"] or "plucked", given["bits"] or 16, given["rate"] or 48_000
    a4_hz = 440.0 if given["a4"] is None else given["a4"]
    if not math.isfinite(a4_hz):  # click lets "nan" into any range
        raise ConfigError(f"--a4 {a4_hz}: write a number of Hz, for instance 415")
    if voice not in VOICES:
        raise unknown("voice", voice, VOICES)
    if bits not in BITS:
        raise ConfigError(f"--bits {bits}: 16 or 24 are possible")
    if rate_hz not in RATES_HZ:
        raise ConfigError(f"--rate {rate_hz}: {', '.join(map(str, RATES_HZ))} are possible")
    instrument = Instrument(
        voice=VOICES[voice],
        a4_hz=a4_hz,
        temperament=temperament_named(given["temperament"] or "equal"),
        rate_hz=rate_hz,
    )
    return instrument, bits


def check_named_wav(path: Path) -> None:
    """Check that a sound file's name says what is in it, whatever else one may hope for.

    Raises:
        click.UsageError: it says something else.
    """
    if path.suffix.lower() not in SUFFIXES:
        raise click.UsageError(f"--wav {path}: name it .wav")


def write_sound(
    path: Path, events: Iterable[PlayerEvent], given: dict[str, Any], *, force: bool
) -> float:
    """Write events as a WAV file; return how many seconds it has.

    Raises:
        ScoreError: there is nothing to hear, or too much; the file is there, or can't be written.
        ConfigError: for an option that can't be used.
    """
    from livecont.errors import ScoreError
    from livecont.score.files import check_free

    instrument, bits = instrument_of(given)
    check_free(path, force=force)
    check_named_wav(path)
    from livecont.sound.rendering import RINGS_S, length_s, sounded
    from livecont.sound.wav import write_wav

    events = tuple(events)
    rate_hz = instrument.rate_hz
    expected_s = length_s(events) + RINGS_S / 4
    try:
        with _progress(path.name, expected_s) as shown:
            frames = write_wav(
                path,
                sounded(events, instrument),
                rate_hz=rate_hz,
                bits=bits,
                written=lambda count: shown(count / rate_hz),
            )
    except OSError as error:
        raise ScoreError(f"{path}: can't be written ({error.strerror or error})") from error
    return frames / rate_hz


@contextlib.contextmanager
def _progress(name: str, length_s: float) -> Iterator[Callable[[float], object]]:
    """Show how far it has come, where somebody looks on."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(name, total=length_s)
        yield lambda at_s: bar.update(task, completed=min(at_s, length_s))
