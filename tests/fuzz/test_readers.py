"""No file makes a reader do anything but read it or refuse it in one clear error.

The corpus holds what was found by `python -m tests.bench fuzz` (our own bytes, by reader), each
with a fault that is mended. Beside it, each reader gets some files mangled by chance, always the
same ones; the benchmark goes on for as long as is wanted.
"""

from __future__ import annotations

import random  # noqa: TID251 -- seeded
from pathlib import Path

import pytest

from livecont.errors import LivecontError
from tests.fuzz.mangling import mangled
from tests.fuzz.readers import READERS

CORPUS = Path(__file__).parent / "corpus"
FOUND = sorted(path for path in CORPUS.glob("*/*") if path.is_file())
# so many that all of them together take some 20 s
COUNTS = {
    "musicxml-in-archive": 500,
    "musicxml-packed": 500,
    "midi": 4000,
    "journals": 200,
    "kern": 300,
    "books": 60,
    "book-lines": 300,
}
USUAL_COUNT = 1500


def accepted(name: str, data: bytes, folder: Path) -> bool:
    """Whether a file is read; an error of our family means that it is refused."""
    folder.mkdir()
    try:
        READERS[name].read(data, folder)
    except LivecontError:
        return False
    return True


@pytest.mark.parametrize("name", READERS)
def test_what_the_files_began_as_is_read(name: str, tmp_path: Path) -> None:
    for number, data in enumerate(READERS[name].seeds()):
        assert accepted(name, data, tmp_path / str(number))


@pytest.mark.parametrize("path", FOUND, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_what_was_found_once_is_read_or_refused(path: Path, tmp_path: Path) -> None:
    accepted(path.parent.name, path.read_bytes(), tmp_path / "a")


@pytest.mark.parametrize("name", READERS)
def test_mangled_files_are_read_or_refused(name: str, tmp_path: Path) -> None:
    reader, rng = READERS[name], random.Random(name)
    refused = 0
    count = COUNTS.get(name, USUAL_COUNT)
    for number in range(count):
        data = mangled(rng, reader.seeds(), reader.words)
        refused += not accepted(name, data, tmp_path / str(number))
    if name not in ("journals", "takes"):  # of these, what can't be read is listed as such
        assert refused
    assert refused < count
