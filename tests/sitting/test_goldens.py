"""Whole sittings as text: timed notes in, everything that comes of it out, one pair of files each.

`tests/golden/sitting/NAME.played.txt` is written by hand, `NAME.effects.txt` by
`UPDATE_GOLDEN=1 python -m pytest tests/sitting/test_goldens.py`: look at the difference before it
is committed. Lines of the first: `key`, `start`, `links`, `compass LOWEST HIGHEST [without ...]`;
then `SECONDS play EVERY NAMES` (an onset every so many seconds, '.' joins a chord, '-' rests),
`SECONDS note LENGTH VELOCITY NAME`, `SECONDS down NAME`, `SECONDS up NAME`, `SECONDS pedal VALUE`,
`SECONDS cue`, `SECONDS stop`, `SECONDS lost`, `SECONDS key KEY`.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby
from pathlib import Path

import pytest

from livecont.music.compass import Compass
from livecont.music.key import parse_key
from livecont.music.pitch import spelling
from livecont.sequence.events import SUSTAIN, KeyDown, KeyUp, PedalMove
from livecont.sequence.pattern import Link
from livecont.sitting.events import (
    ChangeKey,
    Cue,
    Effect,
    Ended,
    GaveWay,
    Hush,
    Lost,
    Settings,
    SittingEvent,
    Sound,
    Start,
    Stop,
    TookOver,
    Understood,
)
from livecont.sitting.virtual import run
from tests.sequence.heard import play
from tests.strategies import PIANO

GOLDEN = Path(__file__).resolve().parents[1] / "golden" / "sitting"
NAMES = sorted(path.name.split(".")[0] for path in GOLDEN.glob("*.played.txt"))
HOW = "changed: look at it, and if it is meant run UPDATE_GOLDEN=1 pytest tests/sitting"


def read(text: str) -> tuple[Settings, list[SittingEvent]]:
    """Read a sitting; see the module's text."""
    settings = Settings(key=None, compass=PIANO)
    events: list[SittingEvent] = []
    for line in text.splitlines():
        words = line.split("#")[0].split() if line.startswith("#") else line.split()
        if not words:
            continue
        if words[0][0].isdigit():
            events += timed(float(words[0]), words[1], words[2:])
        else:
            settings = chosen(settings, words[0], words[1:])
    return settings, sorted(events, key=lambda event: event.at_s)


def chosen(settings: Settings, what: str, words: list[str]) -> Settings:
    match what:
        case "key":
            key = None if words == ["auto"] else parse_key(" ".join(words))
            return replace(settings, key=key)
        case "start":
            return replace(settings, start=Start(words[0]))
        case "links":
            return replace(settings, most_links=int(words[0]))
        case "compass":
            lowest, highest, *absent = (spelling(w).midi for w in words if w != "without")
            compass = Compass(
                name="",
                title="",
                lowest=lowest,
                highest=highest,
                absent=frozenset(absent),
                source="",
            )
            return replace(settings, compass=compass)
    raise ValueError(f"unknown setting {what}")


def timed(at_s: float, what: str, words: list[str]) -> list[SittingEvent]:
    match what:
        case "play":
            return [*play(" ".join(words[1:]), float(words[0]), at_s)]
        case "note":
            length_s, velocity, pitch = float(words[0]), int(words[1]), spelling(words[2]).midi
            return [
                KeyDown(at_s=at_s, pitch=pitch, velocity=velocity),
                KeyUp(at_s=at_s + length_s, pitch=pitch),
            ]
        case "down":
            return [KeyDown(at_s=at_s, pitch=spelling(words[0]).midi, velocity=70)]
        case "up":
            return [KeyUp(at_s=at_s, pitch=spelling(words[0]).midi)]
        case "pedal":
            return [PedalMove(at_s=at_s, controller=SUSTAIN, value=int(words[0]))]
        case "cue":
            return [Cue(at_s=at_s)]
        case "stop":
            return [Stop(at_s=at_s)]
        case "lost":
            return [Lost(at_s=at_s)]
        case "key":
            return [ChangeKey(at_s=at_s, key=parse_key(" ".join(words)))]
    raise ValueError(f"unknown event {what}")


def told(effects: list[Effect]) -> Iterator[str]:
    """Lines for all effects; of a link that never sounded only that it was called off."""
    for at, effect in enumerate(effects):
        hushed_s = next((e.at_s for e in effects[at:] if isinstance(e, Hush)), float("inf"))
        if isinstance(effect, Sound) and hushed_s <= first_s(effect):
            yield f"         called off  link {effect.link.number} from {first_s(effect):.3f}"
        else:
            yield from line_of(effect)


def first_s(sound: Sound) -> float:
    """When its first note is due."""
    return sound.start_s + min(note.offset_s for note in sound.link.notes)


def line_of(effect: Effect) -> Iterator[str]:
    """Lines for an effect, times in seconds to the millisecond."""
    match effect:
        case Sound(start_s=start_s, link=link):
            yield f"         sound       link {link.number} from {start_s:.3f}"
            yield from notes_of(link)
        case Understood(at_s=at_s, pattern=pattern):
            yield (
                f"{at_s:8.3f} understood  step {pattern.step_degrees:+d}, "
                f"{pattern.unit_s:.3f} long, {pattern.key.name}, "
                f"{pattern.links_heard} links heard"
            )
        case TookOver(at_s=at_s, start_s=start_s, link=link):
            yield f"{at_s:8.3f} took over   with link {link.number} at {start_s:.3f}"
        case GaveWay(at_s=at_s):
            yield f"{at_s:8.3f} gave way"
        case Hush(at_s=at_s):
            yield f"{at_s:8.3f} hush"
        case Ended(at_s=at_s, reason=reason):
            yield f"{at_s:8.3f} ended       {reason}"


def notes_of(link: Link) -> Iterator[str]:
    """A line an onset: offset, then name, length and velocity of each note; then the pedal."""
    for offset_s, notes in groupby(link.notes, key=lambda note: round(note.offset_s, 3)):
        chord = "   ".join(f"{n.spelling.name} {n.duration_s:.3f} {n.velocity}" for n in notes)
        yield f"           {offset_s:7.3f}  {chord}"
    for mark in link.pedals:
        yield f"           {mark.offset_units * link.unit_s:7.3f}  pedal {mark.value}"


def test_there_are_sittings_to_look_at() -> None:
    assert len(NAMES) >= 8


@pytest.mark.parametrize("name", NAMES)
def test_a_sitting(name: str) -> None:
    settings, events = read((GOLDEN / f"{name}.played.txt").read_text(encoding="utf-8"))
    text = "\n".join(told(list(run(settings, events)))) + "\n"
    path = GOLDEN / f"{name}.effects.txt"
    if os.environ.get("UPDATE_GOLDEN"):
        path.write_text(text, encoding="utf-8", newline="\n")
    assert text == path.read_text(encoding="utf-8"), f"{path.name} {HOW}"
