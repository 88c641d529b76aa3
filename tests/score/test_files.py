"""Files are written whole or not at all, and nothing is done away with that was there."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from livecont.errors import ScoreError
from livecont.score.files import check_free, write_new


def test_a_file_is_written_over_only_when_asked(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    write_new(path, b"one")
    with pytest.raises(ScoreError, match=r"page\.html is there already: --force"):
        write_new(path, b"two")
    assert path.read_bytes() == b"one"
    write_new(path, b"two", force=True)
    assert path.read_bytes() == b"two"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_what_is_no_ordinary_file_stays_what_it_is(tmp_path: Path) -> None:
    """A new file in its place would do away with a pipe, or with /dev/null."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, Path(os.devnull)):
        with pytest.raises(ScoreError, match="a device, not a file: choose another name"):
            check_free(path, force=True)
    with pytest.raises(ScoreError, match="not a file"):
        write_new(pipe, b"one", force=True)
    assert pipe.is_fifo()
