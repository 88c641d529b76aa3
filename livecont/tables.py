"""Reading TOML so that every fault is named with its file, line and key.

Conventions: a `Table` is one table of one file; asking it for a value checks the value's type.
Line numbers are found by reading the text again, since the standard library keeps none; where a
line can't be told (dotted or inline tables), the message names file and key alone.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from livecont.errors import ConfigError, unknown
from livecont.plainness import not_plain

MOST_BYTES = 2**20  # ours have a few kilobytes
MOST_TOLD = 1e15  # a larger number is not repeated in a message
MOST_TOLD_TEXT = 40
MOST_DEPTH = 20  # ours have three tables in each other, and deep ones take the parser minutes

_HEADER = re.compile(r"\s*(\[\[?)([^\]]+)\]")
_AT_LINE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)")
_PART = r"(?:[A-Za-z0-9_-]++|\"(?:[^\"\\\n]|\\.)*+\"|'[^'\n]*+')"
# so many parts with dots between; each try begins at a part's first sign, so it is soon done
_TOO_DEEP = re.compile(rf"(?<![A-Za-z0-9_-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_DEPTH}}}")
_LONG_NUMBER = re.compile(r"[0-9_]{4000}")


def told(value: object) -> str:
    """Return a value for a message; what is long is named only, and no number is too long.

    >>> told(10**5000), told({"a": [1]}), told("yes"), told(0.5)
    ('a large number', 'a table', "'yes'", '0.5')
    """
    match value:
        case bool():
            return str(value).lower()
        case int() | float():
            return f"{value:g}" if abs(value) < MOST_TOLD else "a large number"
        case str():
            return repr(value if len(value) <= MOST_TOLD_TEXT else f"{value[:MOST_TOLD_TEXT]}…")
        case list():
            return "a list"
        case dict():
            return "a table"
    return "a date" if hasattr(value, "isoformat") else "something else"


@dataclass(frozen=True, slots=True)
class Table:
    """One table: `place` is its name, part by part, `index` its number in an array of tables.

    `options` marks the command line's, which has option names instead of files and lines.
    """

    path: Path
    text: str
    values: dict[str, object]
    place: tuple[str, ...] = ()
    index: int = 0
    options: bool = False

    def where(self, key: str = "") -> str:
        """Return file, line and key, as far as they can be told, to begin a message with."""
        if self.options:
            return f"--{key}"
        line = _line(self.text, self.place, self.index, key)
        name = ".".join((*self.place, *([key] if key else [])))
        return f"{self.path}{f', line {line}' if line else ''}{f', {name}' if name else ''}"

    def fault(self, key: str, what: str) -> ConfigError:
        """Return the error for a value that can't be used."""
        return ConfigError(f"{self.where(key)}: {what}")

    def only(self, known: Iterable[str]) -> None:
        """Check that nothing but the known keys is here.

        Raises:
            ConfigError: for the first other one, with the nearest known.
        """
        known = set(known)
        for key in self.values:
            if key not in known:
                raise ConfigError(f"{self.where(key)}: {unknown('line', key, known)}")

    def string(self, key: str) -> str:
        """Return a text."""
        value = self._value(key)
        if not isinstance(value, str):
            raise self.fault(key, f'needs a text in quotes, such as {key} = "..."')
        return value

    def strings(self, key: str) -> tuple[str, ...]:
        """Return a list of texts."""
        value = self._value(key)
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.fault(key, f'needs a list of texts, such as {key} = ["..."]')
        return tuple(value)

    def number(self, key: str, least: float, most: float) -> float:
        """Return a number between bounds."""
        value = self._value(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fault(key, f"needs a number, not {told(value)}")
        if not least <= value <= most:
            raise self.fault(key, f"{told(value)} is not between {least:g} and {most:g}")
        return float(value)

    def whole(self, key: str, least: int, most: int) -> int:
        """Return a whole number between bounds."""
        value = self.number(key, least, most)
        if value != int(value):
            raise self.fault(key, f"needs a whole number, not {value:g}")
        return int(value)

    def table(self, key: str) -> Table:
        """Return a table inside this one; an empty one where there is none."""
        value = self.values.get(key, {})
        if not isinstance(value, dict):
            raise self.fault(key, f"needs to be a table, [{'.'.join((*self.place, key))}]")
        return replace(self, values=value, place=(*self.place, key))

    def tables(self, key: str) -> tuple[Table, ...]:
        """Return an array of tables."""
        value = self._value(key)
        place = (*self.place, key)
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.fault(key, f"needs to be a row of tables, [[{'.'.join(place)}]]")
        return tuple(
            Table(self.path, self.text, item, place, index) for index, item in enumerate(value)
        )

    def _value(self, key: str) -> object:
        if key not in self.values:
            raise ConfigError(f"{self.where()}: the line {key!r} is missing")
        return self.values[key]


def read_table(path: Path) -> Table:
    """Read a TOML file.

    Raises:
        ConfigError: where it can't be read or is no TOML, with the line.
    """
    try:
        wrong = not_plain(path)
        if wrong is not None:
            raise ConfigError(f"{path}: can't be read ({wrong})")
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise ConfigError(f"{path}: can't be read ({error.strerror})") from error
    if len(raw) > MOST_BYTES:
        raise ConfigError(f"{path}: larger than {MOST_BYTES // 1024} kB: not a configuration")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise ConfigError(f"{path}, line {line}: not UTF-8 text") from error
    deep = _TOO_DEEP.search(text)
    if deep:
        raise ConfigError(
            f"{path}, line {_line_at(text, deep)}: a key of more than {MOST_DEPTH} parts: see to"
            " its dots"
        )
    return Table(path, text, _parsed(path, text))


def _parsed(path: Path, text: str) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        at = _AT_LINE.search(str(error))
        last = len(text.splitlines())
        line = int(at[1]) if at and at[1] else last
        what = _AT_LINE.sub("", str(error))
        raise ConfigError(f"{path}, line {line}: not TOML: {what}") from error
    except ValueError as error:  # of int, which takes only so many digits
        digits = _LONG_NUMBER.search(text)
        where = f"{path}, line {_line_at(text, digits)}" if digits else f"{path}"
        raise ConfigError(
            f"{where}: a number of thousands of digits: write a smaller one"
        ) from error


def _line_at(text: str, found: re.Match[str]) -> int:
    return text.count("\n", 0, found.start()) + 1


def _line(text: str, place: tuple[str, ...], index: int, key: str) -> int | None:
    """Return the line of a key in a table, or of the table's header where the key is empty."""
    here, seen = not place, -1
    wanted = re.compile(rf"\s*[\"']?{re.escape(key)}[\"']?\s*=")
    for number, line in enumerate(text.splitlines(), 1):
        header = _HEADER.match(line)
        if header:
            name = tuple(part.strip(" \t\"'") for part in header[2].split("."))
            seen += name == place
            here = name == place and (header[1] == "[" or seen == index)
            if here and not key:
                return number
            if not here and key and name == (*place, key):
                return number
        elif here and key and wanted.match(line):
            return number
    return None
