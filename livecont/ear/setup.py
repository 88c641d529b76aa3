"""What is set for the ear game: `configs/ear.toml`, and the player's own lines over it.

Conventions: as in `config`; the player's file has the same tables under `[ear.…]`. Levels are ours.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from livecont.config import PEDALS, configs_folder, own_table
from livecont.ear.inventing import TEXTURES
from livecont.ear.staircase import Rules
from livecont.ear.tolerance import Tolerance
from livecont.music.compass import Compass
from livecont.music.pitch import spelling
from livecont.tables import Table, read_table, told

MOST_LEVELS = 100


class Odd(StrEnum):
    """What is odd about an odd link."""

    LEAP = "leap"  # a note a third or more away
    STEP = "step"  # a note a step away
    ACCIDENTAL = "accidental"  # a note with another accidental: hard


class Control(StrEnum):
    """What a control of the game does."""

    GO = "go"
    AGAIN = "again"


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """What questions of a level are made of; `configs/ear.toml` explains each."""

    textures: tuple[str, ...]
    fifths: int
    minor: bool
    bpm: float
    odd: Odd
    names: int
    left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How fast a round goes on, in seconds, and how many questions it has."""

    lead_s: float = 0.4
    think_s: float = 30.0
    next_s: float = 5.0
    questions: int = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """Everything set for the game; `pedals` and `keys` are the instrument's controls."""

    rules: Rules
    gaps: tuple[int, ...]
    any_octave: bool
    tolerance: Tolerance
    pace: Pace
    levels: tuple[Level, ...]
    pedals: Mapping[int, Control]
    keys: Mapping[int, Control]


_TABLES = {
    "staircase": ("rights", "first-step", "turns", "later-step", "start"),
    "returning": ("gaps",),
    "judging": ("any-octave", "told", "other-rhythm"),
    "pace": ("lead", "think", "next", "questions"),
    "controls": tuple(Control),
}


def load_setup(compass: Compass, config: Path | None = None) -> Setup:
    """Return what is set, for an instrument of this compass.

    Raises:
        ConfigError: for a file or line that can't be used.
    """
    ours = read_table(configs_folder() / "ear.toml")
    layers = [ours]
    own = own_table(config, "ear")
    if own is not None:
        own.only(_TABLES)
        layers.append(own)
    for layer in layers:
        for name, lines in _TABLES.items():
            layer.table(name).only(lines)
    levels = tuple(_level(table) for table in ours.tables("level"))
    pedals, keys = _controls(layers, compass)
    told = _top(layers, "judging", "told").number("told", 1, 100)
    other = _top(layers, "judging", "other-rhythm").number("other-rhythm", 1.1, 10)
    return Setup(
        rules=_rules(layers, len(levels)),
        gaps=_gaps(_top(layers, "returning", "gaps")),
        any_octave=_flag(_top(layers, "judging", "any-octave"), "any-octave"),
        tolerance=replace(Tolerance(), told=told, other_rhythm=other),
        pace=_pace(layers),
        levels=levels,
        pedals=pedals,
        keys=keys,
    )


def _top(layers: list[Table], name: str, key: str) -> Table:
    """Return the topmost table that has the line; ours has every one."""
    for layer in reversed(layers):
        table = layer.table(name)
        if key in table.values:
            return table
    return layers[0].table(name)


def _rules(layers: list[Table], top: int) -> Rules:
    def whole(key: str, most: int) -> int:
        return _top(layers, "staircase", key).whole(key, 1, most)

    return Rules(
        rights=whole("rights", 4),
        first_step=whole("first-step", top),
        turns=whole("turns", MOST_LEVELS),
        later_step=whole("later-step", top),
        start=whole("start", top),
        top=top,
    )


def _pace(layers: list[Table]) -> Pace:
    def number(key: str, least: float, most: float) -> float:
        return _top(layers, "pace", key).number(key, least, most)

    return Pace(
        lead_s=number("lead", 0.1, 10),
        think_s=number("think", 1, 600),
        next_s=number("next", 0.2, 600),
        questions=int(number("questions", 1, 1000)),
    )


def _gaps(table: Table) -> tuple[int, ...]:
    value = table.values["gaps"]
    if (
        not isinstance(value, list)
        or not value
        or not all(isinstance(gap, int) and 0 < gap < MOST_LEVELS for gap in value)
    ):
        raise table.fault("gaps", "needs a list of whole numbers, such as [2, 5, 12]")
    return tuple(value)


def _flag(table: Table, key: str) -> bool:
    value = table.values[key]
    if not isinstance(value, bool):
        raise table.fault(key, f"needs true or false, not {told(value)}")
    return value


def _level(table: Table) -> Level:
    table.only(("textures", "fifths", "minor", "bpm", "odd", "names", "left"))
    textures = table.strings("textures")
    if not textures or not set(textures) <= set(TEXTURES):
        raise table.fault("textures", f"needs some of {', '.join(TEXTURES)}")
    odd = table.string("odd")
    if odd not in set(Odd):
        raise table.fault("odd", f"{odd!r} is none of {', '.join(Odd)}")
    return Level(
        textures=textures,
        fifths=table.whole("fifths", 0, 7),
        minor=_flag(table, "minor"),
        bpm=table.number("bpm", 20, 240),
        odd=Odd(odd),
        names=table.whole("names", 2, 5),
        left=table.whole("left", 1, 30),
    )


def _controls(
    layers: list[Table], compass: Compass
) -> tuple[dict[int, Control], dict[int, Control]]:
    pedals: dict[int, Control] = {}
    keys: dict[int, Control] = {}
    for control in Control:
        table = _top(layers, "controls", control)
        for name in table.strings(control):
            kind, _, which = name.partition(" ")
            if kind == "pedal" and which in PEDALS:
                pedals[PEDALS[which]] = control
            elif name in ("lowest key", "highest key"):
                keys[compass.lowest if kind == "lowest" else compass.highest] = control
            elif kind == "key":
                try:
                    keys[spelling(which.strip()).midi] = control
                except ValueError as error:
                    raise table.fault(control, f"{which!r} is no note, such as A0") from error
            else:
                raise table.fault(
                    control,
                    f"{name!r} is none of 'pedal soft', 'pedal sostenuto', 'pedal sustain', "
                    "'lowest key', 'highest key', 'key A0'",
                )
    return pedals, keys
