"""JSON that nobody vouches for, read field by field.

Conventions: whatever is wrong ends as a `BookError` of one line that names the field.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import UTC, datetime
from fractions import Fraction
from functools import lru_cache
from typing import Any

from livecont.errors import BookError

LONGEST_LINE_BYTES = 2 * 2**20
LONGEST_FRACTION = 24  # signs


def parse(text: str) -> object:
    """Read JSON of a bounded size.

    Raises:
        BookError: it is none.
    """
    if len(text) > LONGEST_LINE_BYTES:
        raise BookError(f"longer than {LONGEST_LINE_BYTES // 2**20} MB: not an entry")
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BookError(f"not JSON ({error})") from error


class Fields:
    """An object's fields, each to be taken once."""

    def __init__(self, value: object) -> None:
        if not isinstance(value, dict):
            raise BookError("not an object with fields, { … }")
        self._left: dict[str, Any] = dict(value)

    def take(self, name: str, kind: type | tuple[type, ...], usual: Any = None) -> Any:
        """Return a field of a type; where it is missing, what is usual.

        Raises:
            BookError: it is missing and nothing is usual, or it is of another type.
        """
        value = self._left.pop(name, usual)
        if value is None:
            raise BookError(f'the field "{name}" is missing')
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise BookError(f'the field "{name}" can\'t be {short(value)}')
        return value

    def text(self, name: str, usual: str | None = None) -> str:
        """Return a text."""
        return str(self.take(name, str, usual))

    def whole(self, name: str, usual: int | None = None) -> int:
        """Return a whole number that no arithmetic chokes on."""
        value = int(self.take(name, int, usual))
        if abs(value) > 10**9:
            raise BookError(f'the field "{name}" is far too large')
        return value

    def number(self, name: str, usual: float | None = None) -> float:
        """Return a finite number."""
        value = self.take(name, (int, float), usual)
        if abs(value) > 10**9 or not math.isfinite(value):
            raise BookError(f'the field "{name}" is no number that can be used')
        return float(value)

    def fraction(self, name: str) -> Fraction:
        """Return a fraction, such as "3/8"."""
        text = self.text(name)
        try:
            return _fraction(text)
        except (ValueError, ZeroDivisionError) as error:
            raise BookError(f'the field "{name}" is no fraction: {short(text)}') from error

    def optional(self, name: str, reader: Callable[[str], Any]) -> Any:
        """Return what a reader makes of a field, None where it is null or missing."""
        if self._left.get(name) is None:
            self._left.pop(name, None)
            return None
        return reader(name)

    def done(self) -> None:
        """Check that nothing is left.

        Raises:
            BookError: naming a field that nobody knows.
        """
        if self._left:
            raise BookError(f"the field {short(next(iter(self._left)))} is not known")


@lru_cache(maxsize=4096)
def _fraction(text: str) -> Fraction:
    if len(text) > LONGEST_FRACTION or "e" in text.lower():
        raise ValueError(text)
    return Fraction(text)


def moment_of(text: str) -> datetime:
    """Read a moment, in UTC.

    Raises:
        BookError: it is none.
    """
    try:
        moment = datetime.fromisoformat(text)
        return moment.replace(tzinfo=moment.tzinfo or UTC).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise BookError(f"no date and time: {short(text)}") from error


def short(value: object) -> str:
    """Return what a value looks like, for a message."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}…"
