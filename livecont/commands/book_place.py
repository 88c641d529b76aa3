"""Where the book is, and its option."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from livecont.book.book import Book
    from livecont.music.key import Key

Command = Callable[..., Any]

_BARS = re.compile(r"\s*([^\s-]+)\s*(?:[-\N{EN DASH}]\s*([^\s-]+)\s*)?")

book_option: Callable[[Command], Command] = click.option(
    "--book",
    "file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Another book than your own.",
)


def book_path(file: Path | None = None) -> Path:
    """Return where the book is: the file named, else `book.sqlite` in livecont's data folder."""
    from livecont.book.book import FILE_NAME
    from livecont.live.take_folder import data_folder

    return file if file is not None else data_folder() / FILE_NAME


def opened(file: Path | None) -> Book:
    """Open the book; to be used as a context manager."""
    from livecont.book.book import Book

    return Book(book_path(file))


def key_named(text: str | None) -> Key | None:
    """Return the key of an option, None where it was not given, or is auto."""
    from livecont.music.key import parse_key

    return None if text is None or text.casefold() == "auto" else parse_key(text)


def bars_named(text: str | None) -> tuple[str, str] | None:
    """Read '12-15' or '12'.

    Raises:
        ConfigError: for what is neither.
    """
    if text is None:
        return None
    from livecont.errors import ConfigError

    match = _BARS.fullmatch(text)
    if match is None:
        raise ConfigError(f"--bars {text}: write for instance 12-15, or 12")
    return match[1], match[2] or match[1]


def quarters_named(text: str, option: str = "--unit") -> Fraction:
    """Read a length in quarters: '4', '1.5', '3/2'.

    Raises:
        ConfigError: for what is none, or is beyond all music.
    """
    from livecont.errors import ConfigError

    try:
        if len(text) > 12 or "e" in text.lower():
            raise ValueError(text)
        quarters = Fraction(text)
    except (ValueError, ZeroDivisionError) as error:
        raise ConfigError(f"{option} {text}: write quarters, such as 4, 1.5 or 3/2") from error
    if not Fraction(1, 8) <= quarters <= 64:
        raise ConfigError(f"{option} {text}: 1/8 to 64 quarters are possible")
    return quarters
