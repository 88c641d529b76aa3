"""The errors that a user can cause, each with the exit code that the command line returns.

Conventions: a message says what is wrong, where, and what to do next, in one line. Only `cli`
catches these; everything else lets them pass. Nothing here prints.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class LivecontError(Exception):
    """The family's root; raised only through its members."""

    exit_code = 1


class ConfigError(LivecontError, ValueError):
    """A key, compass, option or configuration file that can't be used."""

    exit_code = 2


class ScoreError(LivecontError, ValueError):
    """A music file that can't be read, or holds nothing to work on."""

    exit_code = 2


class BookError(LivecontError, ValueError):
    """A book that can't be opened, an entry that is not there, or one that is no entry."""

    exit_code = 2


class PortError(LivecontError, OSError):
    """A MIDI or sound port that is not there, is busy, or is lost."""

    exit_code = 2


class TransitionError(LivecontError, RuntimeError):
    """An event that the sitting's state does not know: a fault of ours, not of the user."""

    exit_code = 70


def unknown(what: str, given: str, known: Iterable[str]) -> ConfigError:
    """Return the error for a name that is not among the known ones, with the nearest of them.

    >>> str(unknown("compass", "modren", ["modern", "viennese"]))
    "unknown compass 'modren': did you mean 'modern'?"
    """
    names = sorted(known)
    by_folded = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(given.casefold(), by_folded, n=1, cutoff=0.5)
    if near:
        return ConfigError(f"unknown {what} {given!r}: did you mean {by_folded[near[0]]!r}?")
    return ConfigError(f"unknown {what} {given!r}: known are {', '.join(names)}")


def shown(text: str) -> str:
    r"""Return a text, a file's name say, as it may be shown: one line that commands no terminal.

    >>> shown("take\n 1\x1b[2J.mid")
    'take? 1?[2J.mid'
    """
    return "".join(sign if sign.isprintable() else "?" for sign in text)
