"""Files of music21's bundled corpus, named by a digest of their place in it.

The corpus is used where it is installed, and nothing of it is copied. Its files are called after
composers and pieces, who stay unnamed here; a digest names a file as surely.
"""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import music21

CORPUS = Path(music21.__file__).parent / "corpus"
DIGITS = 10
ENDINGS = {".mxl", ".xml", ".krn"}


def digest(relative: str) -> str:
    """The name a corpus file has here, from its path in the corpus with forward slashes."""
    return hashlib.sha256(relative.encode()).hexdigest()[:DIGITS]


@cache
def _files() -> dict[str, Path]:
    files = (path for path in CORPUS.rglob("*") if path.suffix in ENDINGS)
    return {digest(path.relative_to(CORPUS).as_posix()): path for path in files}


def corpus_file(name: str) -> Path:
    """Return the file of that digest; KeyError where the installed corpus has none."""
    return _files()[name]
