"""Recordings through the live engine in virtual time, and the report of what it did.

The very same sitting as in life (`sitting.virtual`); the report is DESIGN's format, version 1, as
the README documents it: one JSON object a line, in time order for each file. Conventions: times
are seconds on the file's own clock, rounded to the microsecond; a list's paths are relative to the
list's folder, else to the current one.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain, islice, pairwise
from pathlib import Path

from livecont.errors import ConfigError, ScoreError
from livecont.music.key import Key, parse_key
from livecont.plainness import not_plain
from livecont.score.smf import Recording
from livecont.sequence.analysis import analysed, roots_told
from livecont.sequence.endings_course import Course
from livecont.sequence.pattern import Pattern
from livecont.sitting.counting import reach_after
from livecont.sitting.events import (
    Effect,
    Ended,
    Fullness,
    GaveWay,
    News,
    Settings,
    TookOver,
    Understood,
)
from livecont.sitting.machine import chain_of
from livecont.sitting.main_notes import MainNotes
from livecont.sitting.virtual import run

MOST_LIST_BYTES = 16 * 2**20

# of a pattern that is not analysed
UNTOLD: dict[str, object] = {"label": None, "alternatives": [], "doubt": None, "roots": []}
OWN_TRACK = "livecont"  # in a take, what livecont sounded; not the player's, so left out


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A recording to replay: its name in the report, where it is, its key if one is given."""

    name: str
    path: Path
    key: Key | None = None


def read_list(path: Path) -> tuple[Item, ...]:
    """Read a list: a line per recording, `{"file": "a.mid", "key": "e minor"}`, key optional.

    Raises:
        ScoreError: where it can't be read, naming the line.
        ConfigError: for a key that is none, naming the line.
    """
    try:
        wrong = not_plain(path)
        if wrong is not None:
            raise ScoreError(f"{path}: can't be read ({wrong})")
        with path.open("rb") as file:
            raw = file.read(MOST_LIST_BYTES + 1)
        text = raw.decode("utf-8-sig")
    except OSError as error:
        raise ScoreError(f"{path}: can't be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise ScoreError(f"{path}: not UTF-8 text") from error
    if len(raw) > MOST_LIST_BYTES:
        raise ScoreError(f"{path}: larger than {MOST_LIST_BYTES // 2**20} MB")
    lines = enumerate(text.splitlines(), 1)
    return tuple(_item(path, number, line) for number, line in lines if line.strip())


def _item(path: Path, number: int, line: str) -> Item:
    where = f"{path}, line {number}"
    try:
        entry = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise ScoreError(f"{where}: not JSON ({error})") from error
    if not isinstance(entry, dict) or not isinstance(entry.get("file"), str):
        raise ScoreError(f'{where}: needs {{"file": "..."}}')
    name, key_name = entry["file"], entry.get("key")
    if key_name is not None and not isinstance(key_name, str):
        raise ScoreError(f'{where}: the key needs to be a text such as "e minor"')
    try:
        key = None if key_name is None else parse_key(key_name)
    except ConfigError as error:
        raise ConfigError(f"{where}: {error}") from error
    beside = path.parent / name
    return Item(name=name, path=beside if _is_there(beside) else Path(name), key=key)


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):  # a name that no file can have: reading it says so
        return False


def replay(recording: Recording, settings: Settings) -> Iterator[Effect]:
    """Yield what the sitting does with a recording, in time order."""
    return run(settings, recording.events)


def report(name: str, effects: Iterator[Effect], settings: Settings, links: int) -> Iterator[str]:
    """Yield the report's lines for one file's effects, `links` links for each take-over.

    A pattern that is understood better before anything else happens is not analysed.
    """
    told = (effect for effect in effects if isinstance(effect, News))
    for effect, following in pairwise(chain(told, (None,))):
        match effect:
            case Understood():
                event = _understood(effect, analyse=not isinstance(following, Understood))
            case None:
                continue
            case _:
                event = _event(effect, settings, links)
        yield json.dumps({"file": name, **event}, ensure_ascii=False)


def _event(effect: TookOver | GaveWay | Ended, settings: Settings, links: int) -> dict[str, object]:
    match effect:
        case TookOver():
            return _took_over(effect, settings, links)
        case GaveWay():
            return {"event": "give-way", "t": _s(effect.at_s)}
        case Ended():
            return {"event": "end", "t": _s(effect.at_s), "reason": effect.reason}


def _understood(effect: Understood, *, analyse: bool) -> dict[str, object]:
    pattern = effect.pattern
    return {
        "event": "pattern",
        "t": _s(effect.at_s),
        "unit_s": _s(pattern.unit_s),
        "step_degrees": pattern.step_degrees,
        "shift_semitones": pattern.shift_semitones,
        "kind": str(pattern.kind),
        "key": pattern.key.name,
        **(_told(pattern) if analyse else UNTOLD),
        "confidence": round(pattern.confidence, 4),
        "links_heard": pattern.links_heard,
    }


def _told(pattern: Pattern) -> dict[str, object]:
    """What the sequence is, and its roots over two links from the first of them on."""
    analysis = analysed(pattern)
    roots = roots_told(analysis, Course(pattern)) if analysis.harmonies else ()
    return {
        "label": None if analysis.label is None else analysis.label.text,
        "alternatives": [label.text for label in analysis.alternatives],
        "doubt": analysis.doubt,
        "roots": [[round(position, 4), name] for position, name in roots],
    }


def _took_over(effect: TookOver, settings: Settings, links: int) -> dict[str, object]:
    notes: list[list[float | int]] = []
    start_s = effect.start_s
    whole = chain_of(settings, effect.pattern)
    reach = reach_after(whole, effect.link.number)
    later = (link for link in whole.links() if link.number > effect.link.number)
    if links > 1 and settings.fullness is Fullness.REDUCTION:
        pattern = effect.pattern
        main_notes = MainNotes(analysed(pattern).reduction, pattern, None)
        later = (main_notes.of(link, pattern) for link in later)
    for link in islice(chain([effect.link], later), links):
        for note in link.notes:
            onset_s, duration_s = _s(start_s + note.offset_s), _s(note.duration_s)
            notes.append([onset_s, note.pitch, duration_s, note.velocity])
        start_s += link.unit_s
    return {
        "event": "take-over",
        "t": _s(effect.at_s),
        "start_s": _s(effect.start_s),
        "unit_s": _s(effect.pattern.unit_s),
        "step_degrees": effect.pattern.step_degrees,
        "links_clear": reach.clear,
        "links_in_compass": reach.compass,
        "notes": sorted(notes),
    }


def _s(seconds: float) -> float:
    return round(seconds, 6)


def with_key(settings: Settings, key: Key | None) -> Settings:
    """Return the settings with another key; None leaves them as they are."""
    return settings if key is None else replace(settings, key=key)
