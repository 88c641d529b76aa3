"""Reading scores: MusicXML, MIDI, Humdrum **kern and MEI become a `Score`.

What a file is, its content tells, not its name. MusicXML and MEI go through partitura (imported
late: it takes seconds), after they were bounded and made plain; MIDI and **kern are read by
ourselves.

Conventions: see `music.score`. Whatever is wrong with a file ends as a `ScoreError` of one line
that begins with its path.
"""

from __future__ import annotations

import contextlib
import io
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from livecont.errors import ConfigError, LivecontError, ScoreError
from livecont.music.score import Score
from livecont.score.kern import read_kern
from livecont.score.mei import mei_marks, plain_mei
from livecont.score.midi_score import read_midi_score
from livecont.score.musicxml import plain_musicxml
from livecont.score.timeline import to_score
from livecont.score.untrusted import (
    clean_text,
    humdrum_lines,
    read_bytes,
    root_tag,
    unpack,
    xml_tree,
)

SUFFIXES = (".mxl", ".musicxml", ".xml", ".mid", ".midi", ".krn", ".kern", ".mei")
MISSING = "reading scores needs partitura: pip install 'livecont[score]'"


def read_score(path: Path) -> Score:
    """Return what a score file holds.

    Raises:
        ScoreError: it can't be read, or holds no notes.
        ConfigError: the extra `score` is not installed.
    """
    try:
        score = _read(read_bytes(path))
    except ScoreError as error:
        raise ScoreError(f"{path}: {error}") from error
    except (MemoryError, RecursionError) as error:
        raise ScoreError(f"{path}: too much for this machine to read") from error
    if not any(not note.grace for note in score.notes):
        raise ScoreError(f"{path}: no notes of definite pitch in it")
    return score


def _read(data: bytes) -> Score:
    if data.startswith(b"PK\x03\x04"):
        data = unpack(data)
    if data.startswith(b"MThd"):
        return read_midi_score(data)
    if b"**kern" in data[:20_000]:
        return _read_kern(data)
    if data.lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n")[:1] != b"<":
        raise ScoreError("neither MusicXML, MIDI, **kern nor MEI")
    tag = root_tag(data)
    if tag in ("mei", "music", "score"):
        return _read_mei(data)
    return _read_musicxml(data)


def _read_musicxml(data: bytes) -> Score:
    partitura = _library()
    plain, marks = plain_musicxml(xml_tree(data))
    with _understanding("MusicXML"):
        return to_score(partitura.load_musicxml(io.BytesIO(plain)).part_structure, marks)


def _read_mei(data: bytes) -> Score:
    partitura = _library()
    root = xml_tree(data)
    marks = mei_marks(root)
    plain = plain_mei(root)
    with _understanding("MEI"), _file_of(plain, ".mei") as path:
        return to_score(partitura.load_mei(path).part_structure, marks, through_the_page=True)


def _read_kern(data: bytes) -> Score:
    return read_kern(humdrum_lines(data))


def _library() -> Any:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import partitura
            from partitura.io import importmei
    except ImportError as error:
        raise ConfigError(MISSING) from error
    # with verovio installed it would rewrite MEI files by that, into a form it reads less well
    importmei.VEROVIO_AVAILABLE = False
    return partitura


@contextlib.contextmanager
def _understanding(what: str) -> Iterator[None]:
    """The library's warnings and prints are not for the user, its failures are one line."""
    try:
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            yield
    except (LivecontError, MemoryError, RecursionError):
        raise
    except Exception as error:  # the library raises whatever comes up, and leaves odd values
        told = clean_text(f"{type(error).__name__}: {error}", 120)
        raise ScoreError(f"{what} that can't be made sense of ({told})") from error


@contextlib.contextmanager
def _file_of(data: bytes, suffix: str) -> Iterator[str]:
    """A file for a library that reads no bytes; under a name of ours, in a folder of our own."""
    with tempfile.TemporaryDirectory(prefix="livecont-") as folder:
        path = Path(folder) / f"score{suffix}"
        path.write_bytes(data)
        yield str(path)
