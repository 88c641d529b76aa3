"""A sign that work is going on, where somebody looks on."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator


@contextlib.contextmanager
def waiting(what: str) -> Iterator[None]:
    """Show what is being done while it lasts; nothing where the output is no terminal."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(what):
        yield
