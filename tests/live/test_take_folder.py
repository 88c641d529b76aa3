"""The folder of takes: listing, mending, and never writing over what is somebody else's."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TypeVar

import pytest

from livecont.live.journal import header_line, line, written_line
from livecont.live.take_file import Entry, EntryKind, take_file
from livecont.live.take_folder import (
    TakeState,
    data_folder,
    default_take_folder,
    list_takes,
    lock,
    repair_takes,
    replace_file,
    reserve,
)

T = TypeVar("T")
STARTED = datetime(2025, 1, 31, 20, 15)  # noqa: DTZ001 -- takes are named by the wall clock
ENTRIES = (
    Entry(0.5, EntryKind.PLAYED, bytes((0x90, 60, 64))),
    Entry(0.9, EntryKind.PLAYED, bytes((0x80, 60, 64))),
    Entry(1.5, EntryKind.SOUNDED, bytes((0x90, 58, 64))),
)


def left_behind(folder: Path, entries: tuple[Entry, ...] = ENTRIES, more: bytes = b"") -> Path:
    path = folder / "2025-01-30_09-00-00.take"
    path.write_bytes(header_line("x") + b"".join(line(entry) for entry in entries) + more)
    return path


def put(path: Path, what: str) -> None:
    """Make something that is no file."""
    if what == "folder":
        path.mkdir()
    elif what == "fifo":
        os.mkfifo(path)
    else:
        target = path.with_name(f"{path.name}-nowhere")
        path.symlink_to(target)
        if what == "link to a fifo":
            os.mkfifo(target)


def ended(work: Callable[[], T], patience_s: float = 10.0) -> T:
    """Return what comes of something that could wait for ever."""
    came: list[T] = []
    worker = threading.Thread(target=lambda: came.append(work()), daemon=True)
    worker.start()
    worker.join(patience_s)
    assert came, "it waits, or it failed"
    return came[0]


def test_a_journal_left_behind_is_listed_and_mended(tmp_path: Path) -> None:
    journal = left_behind(tmp_path)
    (listed,) = list_takes(tmp_path)
    assert (listed.state, listed.played, listed.sounded) == (TakeState.UNFINISHED, 1, 1)
    (mended,) = repair_takes(tmp_path)
    assert mended.take == journal.with_suffix(".mid")
    (listed,) = list_takes(tmp_path)
    assert (listed.state, listed.played, listed.sounded) == (TakeState.WHOLE, 1, 1)
    assert listed.length_s == pytest.approx(1.5, abs=0.001)
    assert repair_takes(tmp_path) == ()


def test_an_earlier_version_of_its_own_is_replaced(tmp_path: Path) -> None:
    earlier = take_file(ENTRIES[:2])
    journal = left_behind(tmp_path, more=written_line(earlier))
    journal.with_suffix(".mid").write_bytes(earlier)
    (mended,) = repair_takes(tmp_path)
    assert mended.take == journal.with_suffix(".mid")
    assert len(list(tmp_path.iterdir())) == 1


def test_mending_that_ended_before_the_journal_went_makes_no_second_take(tmp_path: Path) -> None:
    journal = left_behind(tmp_path)
    before = journal.read_bytes()
    repair_takes(tmp_path)
    journal.write_bytes(before)
    (mended,) = repair_takes(tmp_path)
    assert mended.take == journal.with_suffix(".mid")
    assert list(tmp_path.iterdir()) == [mended.take]


def test_a_file_that_somebody_changed_stays(tmp_path: Path) -> None:
    edited = take_file(ENTRIES[:1])
    journal = left_behind(tmp_path, more=written_line(take_file(ENTRIES[:2])))
    journal.with_suffix(".mid").write_bytes(edited)
    (mended,) = repair_takes(tmp_path)
    assert mended.take == tmp_path / "2025-01-30_09-00-00_mended1.mid"
    assert journal.with_suffix(".mid").read_bytes() == edited


def test_a_journal_without_a_note_goes_with_its_empty_file(tmp_path: Path) -> None:
    journal = left_behind(tmp_path, ())
    journal.with_suffix(".mid").write_bytes(b"")
    assert [mended.take for mended in repair_takes(tmp_path)] == [None]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "damaged",
    [
        b"p 0.5 9o 3c 40\np 0.9 80 3c 40 40\n",
        b"p 2678401.0 90 3c 40\n",  # beyond 31 days
        b"k 0.0 0 0 C major\np 0.5 90 3",  # cut off
        bytes(2000),  # what some file systems leave after a power cut
        b"= 12\n",
    ],
)
def test_a_damaged_journal_is_kept(tmp_path: Path, damaged: bytes) -> None:
    journal = left_behind(tmp_path, (), damaged)
    journal.with_suffix(".mid").write_bytes(b"")
    before = journal.read_bytes()
    assert [one.state for one in list_takes(tmp_path)] == [TakeState.UNREADABLE]
    (mended,) = repair_takes(tmp_path)
    assert (mended.take, mended.trouble) == (None, "nothing readable in it: kept")
    assert journal.read_bytes() == before


@pytest.mark.parametrize(
    "whole", [b"", b"k 0.0 0 0 C major\nm 3.0 end: quit\n", b"= 1 ff\n= 1 ff\n"]
)
def test_a_journal_that_is_read_whole_and_has_no_note_goes(tmp_path: Path, whole: bytes) -> None:
    left_behind(tmp_path, (), whole)
    assert [(one.take, one.trouble) for one in repair_takes(tmp_path)] == [(None, None)]
    assert list(tmp_path.iterdir()) == []


def test_what_is_no_journal_is_told_and_stays(tmp_path: Path) -> None:
    other = tmp_path / "shopping.take"
    other.write_bytes(b"bread\n")
    (mended,) = repair_takes(tmp_path)
    assert mended.trouble is not None
    assert other.read_bytes() == b"bread\n"
    assert [one.state for one in list_takes(tmp_path)] == [TakeState.UNREADABLE]


@pytest.mark.parametrize(
    "raw", [b"", b"MThd", b"MThd\0\0\0\6\0\1\0\2\1\0MTrk\xff\xff\xff\xff", b"x" * 99]
)
def test_a_broken_file_is_listed_as_unreadable(tmp_path: Path, raw: bytes) -> None:
    (tmp_path / "broken.mid").write_bytes(raw)
    assert [one.state for one in list_takes(tmp_path)] == [TakeState.UNREADABLE]


def test_a_folder_that_is_not_there_has_no_takes(tmp_path: Path) -> None:
    assert list_takes(tmp_path / "none") == ()
    assert repair_takes(tmp_path / "none") == ()


@pytest.mark.skipif(sys.platform == "win32", reason="needs fifos")
@pytest.mark.parametrize("what", ["fifo", "folder", "link", "link to a fifo"])
def test_what_is_no_file_is_told_and_left_alone(tmp_path: Path, what: str) -> None:
    """Opening a fifo would wait for a writer for ever."""
    for name in ("a.mid", "b.take", "2025-01-30_09-00-00.mid"):
        put(tmp_path / name, what)
    left_behind(tmp_path)
    before = {path.name for path in tmp_path.iterdir()}
    assert {take.path.name: take.state for take in ended(lambda: list_takes(tmp_path))} == {
        "a.mid": TakeState.NO_FILE,
        "b.take": TakeState.NO_FILE,
        "2025-01-30_09-00-00.mid": TakeState.UNFINISHED,
    }
    mended = {one.journal.name: one for one in ended(lambda: repair_takes(tmp_path))}
    assert mended["b.take"].trouble == "is no file: left alone"
    take = mended["2025-01-30_09-00-00.take"].take
    assert take == tmp_path / "2025-01-30_09-00-00_mended1.mid"
    assert take.read_bytes().startswith(b"MThd")
    assert {path.name for path in tmp_path.iterdir()} == before - {"2025-01-30_09-00-00.take"} | {
        take.name
    }


@pytest.mark.skipif(sys.platform == "win32", reason="needs fifos")
def test_a_fifo_where_a_file_is_to_be_written_is_not_waited_for(tmp_path: Path) -> None:
    put(tmp_path / ".a.mid.new", "fifo")
    ended(lambda: replace_file(tmp_path / "a.mid", b"data"))
    assert [path.name for path in tmp_path.iterdir()] == ["a.mid"]
    assert (tmp_path / "a.mid").read_bytes() == b"data"


def test_a_long_dense_file_is_listed_soon(tmp_path: Path) -> None:
    """A reader that makes objects of its messages is at it for a minute."""
    track = b"\0\x90\x3c\x40" + b"\0\x3c\x40" * 1_700_000
    head = b"MThd\0\0\0\6\0\0\0\1\1\0MTrk" + len(track).to_bytes(4)
    (tmp_path / "a.mid").write_bytes(head + track)
    (found,) = ended(lambda: list_takes(tmp_path), 25.0)
    assert (found.state, found.counted) == (TakeState.WHOLE, True)


def test_what_would_take_long_is_not_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last take first; whether it is whole is told all the same."""
    data = take_file(ENTRIES)
    monkeypatch.setattr("livecont.live.take_folder.MOST_COUNTED_BYTES", len(data))
    monkeypatch.setattr("livecont.live.take_folder.MOST_LISTED_BYTES", 2 * len(data) + 1)
    (tmp_path / "a.mid").write_bytes(data[:-1])
    for name in ("b", "c", "d"):
        (tmp_path / f"{name}.mid").write_bytes(data)
    (tmp_path / "e.mid").write_bytes(data + b"MTrk\0\0\0\0")
    (tmp_path / "f.take").write_bytes(header_line("x") + line(ENTRIES[0]) * len(data))
    assert [(t.path.stem, t.state, t.counted, t.played) for t in list_takes(tmp_path)] == [
        ("a", TakeState.UNREADABLE, True, 0),
        ("b", TakeState.WHOLE, False, 0),
        ("c", TakeState.WHOLE, True, 1),
        ("d", TakeState.WHOLE, True, 1),
        ("e", TakeState.WHOLE, False, 0),
        ("f", TakeState.UNFINISHED, False, 0),
    ]


def test_a_name_is_reserved_once(tmp_path: Path) -> None:
    first, journal = reserve(tmp_path, STARTED)
    second, other = reserve(tmp_path, STARTED)
    with journal, other, first.with_suffix(".take").open("rb") as mender:
        assert first != second
        assert not lock(mender)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "2025-01-31_20-15-00.mid",
        "2025-01-31_20-15-00.take",
        "2025-01-31_20-15-00_2.mid",
        "2025-01-31_20-15-00_2.take",
    ]


def test_a_journal_of_the_same_second_is_not_written_over(tmp_path: Path) -> None:
    """Its MIDI file may have been taken away."""
    left = tmp_path / "2025-01-31_20-15-00.take"
    left.write_bytes(b"livecont take 1 2025-01-31T20:15:00\np 0.500000 90 3c 40\n")
    before = left.read_bytes()
    path, journal = reserve(tmp_path, STARTED)
    journal.close()
    assert path.name == "2025-01-31_20-15-00_2.mid"
    assert left.read_bytes() == before


def test_a_file_is_replaced_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "a.mid"
    path.write_bytes(b"before")
    replace_file(path, b"after")
    assert path.read_bytes() == b"after"
    blocked = tmp_path / "folder"
    blocked.mkdir()
    with pytest.raises(OSError, match="folder"):
        replace_file(blocked, b"data")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["a.mid", "folder"]


def test_the_environment_names_the_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("LIVECONT_DATA", str(tmp_path))
    assert default_take_folder() == tmp_path / "takes"
    monkeypatch.delenv("LIVECONT_DATA")
    assert data_folder().name == "livecont"
    assert data_folder().is_absolute() or os.name == "nt"
