"""What the player chose: our defaults, his own file over them, the command line over both.

Conventions: files are TOML, ours lie in `configs/` (beside the package in a checkout, inside it
when installed). A fault names file, line and key, or the option. Everything is read once, at the
start; nothing here is on the note path.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from livecont.errors import ConfigError, unknown
from livecont.music.compass import Compass
from livecont.music.key import Key, parse_key
from livecont.music.pitch import spelling
from livecont.music.spectrum import MODERN_PIANO, SPECTRA, Spectrum
from livecont.sequence.endings import Ending, Limit
from livecont.sequence.events import SOFT, SOSTENUTO, SUSTAIN
from livecont.sitting.events import Fullness, Settings, Start
from livecont.tables import Table, read_table, told

ENVIRONMENT = "LIVECONT_CONFIG"
FILE_NAME = "livecont.toml"
ACTIONS = ("cue", "stop", "change-key", "tonal-real", "reduction", "keep", "quit")
PEDALS = MappingProxyType({"sustain": SUSTAIN, "sostenuto": SOSTENUTO, "soft": SOFT})
KEY_NAMES = ("space", "enter", "escape", "tab")
MOST_LINKS = 1000
MOST_DIGITS = 9  # Python turns no more than 4,300 of them into a number, and that is too large
AUTO = "auto"
NOTE_NAME = "a note name such as A0 or F#3"

_Control = TypeVar("_Control", int, str)

_TABLES = MappingProxyType(
    {
        "sitting": (
            *("key", "start", "limit", "ending", "sound", "compass"),
            *("instrument", "surprise", "least-confidence"),
        ),
        "ports": ("in", "out", "thru"),
        "takes": ("take-folder",),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Controls:
    """What works livecont: controller numbers, MIDI pitches and computer keys to actions."""

    pedals: Mapping[int, str]
    keys: Mapping[int, str]
    computer: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Preferences:
    """Everything chosen for a sitting.

    `input_name` and `output_name` None: chosen by themselves; an output may also be "internal" or
    "none". `thru` None: the player's notes are passed on where the sound is not his keyboard's.
    `take_folder` None: the folder that the recorder has for itself.
    """

    settings: Settings
    input_name: str | None
    output_name: str | None
    thru: bool | None
    take_folder: Path | None
    controls: Controls
    compasses: Mapping[str, Compass]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Keyboard:
    """A compass, and the sound of the instrument that has it."""

    compass: Compass
    spectrum: Spectrum


def configs_folder() -> Path:
    """Return the folder with our own configuration."""
    package = Path(__file__).resolve().parent
    for folder in (package / "configs", package.parent / "configs"):
        if (folder / "defaults.toml").is_file():
            return folder
    raise ConfigError(f"livecont's own configs are missing beside {package}: install it again")


def own_file() -> Path:
    """Return where the player's own configuration is looked for on this platform."""
    if sys.platform == "win32":
        base = Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    return base / "livecont" / FILE_NAME


def load_preferences(
    config: Path | None = None, options: Mapping[str, str | bool] | None = None
) -> Preferences:
    """Return what was chosen; `config` names the player's file, `options` hold the command line's.

    Raises:
        ConfigError: for a file, line or option that can't be used.

    >>> load_preferences(options={"key": "e minor", "limit": "5"}).settings.most_links
    5
    """
    folder = configs_folder()
    layers = [read_table(folder / "defaults.toml")]
    own = _read_own(config)
    if own is not None:
        own.only((*_TABLES, "controls", "compasses", "ear"))
        layers.append(own)
    if options:
        layers.append(_option_layer(options))
    for layer in layers:
        for name, keys in _TABLES.items():
            layer.table(name).only(keys)
    keyboards = _load_keyboards(folder, own)
    return Preferences(
        settings=_settings(layers, keyboards),
        input_name=_top(layers, "ports", "in").string("in").strip() or None,
        output_name=_top(layers, "ports", "out").string("out").strip() or None,
        thru=_thru(_top(layers, "ports", "thru")),
        take_folder=_folder(_top(layers, "takes", "take-folder")),
        controls=_load_controls(folder, own),
        compasses=MappingProxyType({name: one.compass for name, one in keyboards.items()}),
    )


def own_table(config: Path | None, name: str) -> Table | None:
    """Return a table of the player's own file, read apart from the rest; None without a file.

    Raises:
        ConfigError: for a file that can't be read.
    """
    own = _read_own(config)
    return own.table(name) if own is not None else None


def _read_own(config: Path | None) -> Table | None:
    named = config or (Path(os.environ[ENVIRONMENT]) if os.environ.get(ENVIRONMENT) else None)
    if named is not None:
        return read_table(named.expanduser())
    path = own_file()
    return read_table(path) if path.is_file() else None


def _option_layer(options: Mapping[str, str | bool]) -> Table:
    """Lay the command line out as a table, so that it is checked like a file."""
    values: dict[str, object] = {
        name: {key: options[key] for key in keys if key in options}
        for name, keys in _TABLES.items()
    }
    return Table(Path(), "", values, options=True)


def _top(layers: list[Table], name: str, key: str) -> Table:
    """Return the topmost layer's table that has the key; our defaults have every one."""
    for layer in reversed(layers):
        table = layer.table(name)
        if key in table.values:
            return table
    return layers[0].table(name)


def _settings(layers: list[Table], keyboards: Mapping[str, _Keyboard]) -> Settings:
    compass_table = _top(layers, "sitting", "compass")
    keyboard = keyboards[_one_of(compass_table, "compass", keyboards)]
    confidence = _top(layers, "sitting", "least-confidence")
    return Settings(
        key=_key(_top(layers, "sitting", "key")),
        compass=keyboard.compass,
        start=Start(_one_of(_top(layers, "sitting", "start"), "start", Start)),
        most_links=_most_links(_top(layers, "sitting", "limit")),
        limit=_limit(_top(layers, "sitting", "limit")),
        fullness=Fullness(_one_of(_top(layers, "sitting", "sound"), "sound", Fullness)),
        ending=Ending(_one_of(_top(layers, "sitting", "ending"), "ending", Ending)),
        spectrum=_spectrum(_top(layers, "sitting", "instrument"), keyboard),
        surprise=_top(layers, "sitting", "surprise").number("surprise", 0, 1),
        least_confidence=confidence.number("least-confidence", 0, 1),
    )


def _key(table: Table) -> Key | None:
    text = table.string("key")
    if text.strip().casefold() == AUTO:
        return None
    try:
        return parse_key(text)
    except ConfigError as error:
        raise table.fault("key", str(error)) from error


def _one_of(table: Table, key: str, known: Iterable[str]) -> str:
    text, names = table.string(key), [str(name) for name in known]
    if text not in names:
        raise table.fault(key, str(unknown(key, text, names)))
    return text


def _limit(table: Table) -> Limit:
    return Limit.CLEAR if table.values["limit"] == Limit.CLEAR else Limit.COMPASS


def _most_links(table: Table) -> int | None:
    value = table.values["limit"]
    if isinstance(value, str) and value in set(Limit):
        return None
    if isinstance(value, str) and value.isdecimal() and len(value) <= MOST_DIGITS:
        table = replace(table, values={**table.values, "limit": int(value)})
    elif isinstance(value, str):
        raise table.fault(
            "limit", f"{told(value)} is neither 'compass' nor 'clear' nor a number of links"
        )
    return table.whole("limit", 1, MOST_LINKS)


def _thru(table: Table) -> bool | None:
    value = table.values["thru"]
    if isinstance(value, bool):
        return value
    if value == AUTO:
        return None
    raise table.fault("thru", f'{told(value)} is none of true, false, "auto"')


def _folder(table: Table) -> Path | None:
    text = table.string("take-folder").strip()
    if not text:
        return None
    try:
        return Path(text).expanduser()
    except RuntimeError as error:
        raise table.fault("take-folder", f"{text!r}: there is no home folder here") from error


def _spectrum(table: Table, keyboard: _Keyboard) -> Spectrum:
    """Return the sound that was asked for, else that of the compass's own instrument."""
    name = _one_of(table, "instrument", (AUTO, *SPECTRA))
    return keyboard.spectrum if name == AUTO else SPECTRA[name]


def _load_keyboards(folder: Path, own: Table | None) -> Mapping[str, _Keyboard]:
    tables = [read_table(folder / "compasses.toml")]
    if own is not None:
        tables.append(own.table("compasses"))
    return {name: _keyboard(table.table(name)) for table in tables for name in table.values}


def _keyboard(table: Table) -> _Keyboard:
    table.only(("title", "lowest", "highest", "absent", "instrument", "source"))
    spectrum = MODERN_PIANO
    if "instrument" in table.values:
        spectrum = SPECTRA[_one_of(table, "instrument", SPECTRA)]
    return _Keyboard(compass=_compass(table), spectrum=spectrum)


def _compass(table: Table) -> Compass:
    lowest = _pitch(table, "lowest", table.string("lowest"))
    highest = _pitch(table, "highest", table.string("highest"))
    names = table.strings("absent") if "absent" in table.values else ()
    absent = frozenset(_pitch(table, "absent", name) for name in names)
    if lowest >= highest:
        raise table.fault("highest", "is not above the lowest note")
    if any(not lowest < pitch < highest for pitch in absent):
        raise table.fault("absent", "names a note that is not between the lowest and the highest")
    return Compass(
        name=table.place[-1],
        title=table.string("title"),
        lowest=lowest,
        highest=highest,
        absent=absent,
        source=table.string("source"),
    )


def _pitch(table: Table, key: str, name: str) -> int:
    try:
        midi = spelling(name).midi
    except ValueError as error:
        raise table.fault(key, f"{name!r} is not {NOTE_NAME}") from error
    if not 0 <= midi <= 127:
        raise table.fault(key, f"{name} is beyond MIDI's notes, C-1 to G9")
    return midi


def _load_controls(folder: Path, own: Table | None) -> Controls:
    layers = [read_table(folder / "controls.toml")]
    if own is not None:
        layers.append(own.table("controls"))
    pedals: dict[int, str] = {}
    keys: dict[int, str] = {}
    computer: dict[str, str] = {}
    for layer in layers:
        layer.only(("instrument", "computer"))
        layer.table("instrument").only(ACTIONS)
        layer.table("computer").only(ACTIONS)
    for action in ACTIONS:
        table = _top(layers, "instrument", action)
        for name in table.strings(action):
            _set_instrument(table, action, name, pedals, keys)
        table = _top(layers, "computer", action)
        for name in table.strings(action):
            if len(name) != 1 and name not in KEY_NAMES:
                raise table.fault(action, f"{name!r} is neither one sign nor {_or(KEY_NAMES)}")
            _set_once(table, action, name, computer, name)
    return Controls(pedals=pedals, keys=keys, computer=computer)


def _set_instrument(
    table: Table, action: str, name: str, pedals: dict[int, str], keys: dict[int, str]
) -> None:
    kind, _, which = name.partition(" ")
    if kind == "pedal" and which in PEDALS:
        _set_once(table, action, PEDALS[which], pedals, name)
    elif kind == "key":
        _set_once(table, action, _pitch(table, action, which.strip()), keys, name)
    else:
        pedal_names = [f"'pedal {pedal}'" for pedal in PEDALS]
        raise table.fault(action, f"{name!r} is neither {', '.join(pedal_names)} nor 'key A0'")


def _set_once(
    table: Table, action: str, control: _Control, into: dict[_Control, str], name: str
) -> None:
    if into.setdefault(control, action) != action:
        raise table.fault(action, f"{name!r} is taken by {into[control]!r} already")


def _or(names: Iterable[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} or {last}"
