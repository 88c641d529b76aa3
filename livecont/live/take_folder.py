"""Where takes are kept, what is there, and mending what a kill left behind.

Conventions: a take is `<date>_<time>.mid`, with a counter where that is taken; while its sitting
goes on, and after a kill, its journal (`.take`) lies beside it. A journal whose writer lives is
locked; the operating system frees the lock when the writer dies. No file that was there before is
ever written over: a MIDI file that somebody has changed since stays, and the mended take gets
a name of its own.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import IO, BinaryIO

from livecont.live.journal import HEADER, Journal, fingerprint, read_journal
from livecont.live.take_file import LIVECONT, PLAYER, Entry, EntryKind, take_file
from livecont.live.take_summary import chunks, summary

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

DATA_VARIABLE = "LIVECONT_DATA"
JOURNAL_SUFFIX, TAKE_SUFFIX = ".take", ".mid"
MOST_BYTES = 64 * 2**20  # a day of dense playing has about a fifth of it
MOST_COUNTED_BYTES = 8 * 2**20  # of one take in a list: a day of playing, two seconds' work
MOST_LISTED_BYTES = 16 * 2**20  # of all that are counted in a list
MOST_NAMES = 10_000
_LOCK_AT = 2**40  # Windows bars others from locked bytes: one that no file has


class TakeState(StrEnum):
    """How a take on disk is."""

    WHOLE = "whole"
    UNFINISHED = "unfinished"  # a journal without its writer: to be mended
    IN_USE = "in use"  # its sitting goes on
    UNREADABLE = "unreadable"
    NO_FILE = "no file"  # a folder, a fifo, a link to nowhere


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOnDisk:
    """A take: `played` and `sounded` count the notes of player and livecont.

    Where it is not `counted`, because that would take long, they and the length are 0.
    """

    path: Path
    state: TakeState
    size: int = 0  # bytes, of what was read: the MIDI file, or its journal
    counted: bool = True
    length_s: float = 0.0
    played: int = 0
    sounded: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """What became of one journal: `take` None where it held nothing, `trouble` why it stays."""

    journal: Path
    take: Path | None
    trouble: str | None = None


def data_folder() -> Path:
    """Return the folder for livecont's own files on this platform.

    `LIVECONT_DATA` in the environment names another.
    """
    named = os.environ.get(DATA_VARIABLE)
    if named:
        return Path(named).expanduser()
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "livecont"


def default_take_folder() -> Path:
    """Return where takes go when nothing else was chosen."""
    return data_folder() / "takes"


def names(folder: Path, started: datetime) -> Iterator[Path]:
    """Yield the names that a take started then may have, without their suffix, best first."""
    stem = f"{started:%Y-%m-%d_%H-%M-%S}"
    yield folder / stem
    for number in range(2, MOST_NAMES):
        yield folder / f"{stem}_{number}"


def reserve(folder: Path, started: datetime) -> tuple[Path, BinaryIO]:
    """Make a take's two files, empty, under a name that nothing has; return both.

    The journal comes open, to be read too, and locked.

    Raises:
        OSError: the folder can't be written to.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for stem in names(folder, started):
        journal_path, path = stem.with_suffix(JOURNAL_SUFFIX), stem.with_suffix(TAKE_SUFFIX)
        try:
            journal = journal_path.open("x+b", buffering=0)
        except FileExistsError:
            continue
        if not lock(journal):  # another one mends it this moment, thinking it left behind
            journal.close()
            continue
        try:
            with path.open("xb"):
                pass
        except FileExistsError:
            journal.close()
            journal_path.unlink(missing_ok=True)
            continue
        return path, journal
    raise FileExistsError(f"{MOST_NAMES} takes of one second in {folder}")


def replace_file(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, over an earlier version of its own."""
    beside = path.with_name(f".{path.name}.new")
    try:
        beside.unlink(
            missing_ok=True
        )  # of a writer that was killed; never opened, it may be a fifo
        with beside.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError:
        beside.unlink(missing_ok=True)
        raise


def lock(file: IO[bytes]) -> bool:
    """Lock an open journal for its writer; return False where another has it."""
    try:
        if sys.platform == "win32":
            here = file.tell()
            file.seek(_LOCK_AT)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
            file.seek(here)
        else:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def list_takes(folder: Path) -> tuple[TakeOnDisk, ...]:
    """Return the takes in a folder, by name; none where there is no folder.

    The last ones are counted first, and no more than takes some seconds.
    """
    if not folder.is_dir():
        return ()
    paths = {path.stem: path for path in folder.glob(f"*{TAKE_SUFFIX}")}
    paths |= {path.stem: path for path in folder.glob(f"*{JOURNAL_SUFFIX}")}
    found, left_bytes = [], MOST_LISTED_BYTES
    for stem in sorted(paths, reverse=True):
        most_bytes = min(MOST_COUNTED_BYTES, left_bytes)
        read = _of_journal if paths[stem].suffix == JOURNAL_SUFFIX else _of_file
        found.append(read(paths[stem], most_bytes))
        if found[-1].size <= most_bytes:  # and so it was read
            left_bytes -= found[-1].size
    return tuple(sorted(found, key=lambda take: take.path.name))


def repair_takes(
    folder: Path,
    *,
    most_bytes: int = MOST_BYTES,
    enough: Callable[[], bool] = lambda: False,
) -> tuple[Mended, ...]:
    """Make MIDI files of the journals that a kill left behind; running sittings are left alone.

    So are journals of more than `most_bytes`, and those that are left once it is `enough`.

    Raises:
        OSError: the folder can't be read.
    """
    if not folder.is_dir():
        return ()
    mended = []
    for path in sorted(folder.glob(f"*{JOURNAL_SUFFIX}")):
        if enough():
            break
        mended.append(_mend(path, most_bytes))
    return tuple(one for one in mended if one is not None)


def _mend(path: Path, most_bytes: int) -> Mended | None:
    try:
        if not path.is_file():
            return Mended(journal=path, take=None, trouble="is no file: left alone")
        with path.open("r+b") as file:
            if not lock(file) or not path.exists():
                return None
            if os.fstat(file.fileno()).st_size > most_bytes:
                what = f"larger than {most_bytes // 2**20} MB: left alone"
                return Mended(journal=path, take=None, trouble=what)
            journal = read_journal(file)
        if journal is None:
            return Mended(journal=path, take=None, trouble="not a journal that can be read")
        if journal.unread and not journal.notes:
            return Mended(journal=path, take=None, trouble="nothing readable in it: kept")
        take = _write_mended(path.with_suffix(TAKE_SUFFIX), journal)
        path.unlink()
    except OSError as error:
        what = f"can't be mended ({error.strerror or error}); make room, and try again"
        return Mended(journal=path, take=None, trouble=what)
    return Mended(journal=path, take=take)


def _write_mended(path: Path, journal: Journal) -> Path | None:
    """Write a journal's take over its earlier version, or beside what is not that."""
    data = take_file(journal.entries, title=f"livecont take, {journal.started}")
    own = _is_own(path, journal, data)
    if not journal.notes:
        if own:
            path.unlink(missing_ok=True)
        return None
    if own:
        replace_file(path, data)
        return path
    for number in range(1, MOST_NAMES):
        other = path.with_name(f"{path.stem}_mended{number}{TAKE_SUFFIX}")
        try:
            with other.open("xb"):
                pass
        except FileExistsError:
            continue
        replace_file(other, data)
        return other
    raise FileExistsError(f"no free name beside {path}")


def _is_own(path: Path, journal: Journal, data: bytes) -> bool:
    """Whether what has a take's name is the journal's, earlier or as mended, or nothing at all."""
    if not path.is_file():  # nothing; or a folder, a fifo, a link to nowhere
        return not os.path.lexists(path)
    if path.stat().st_size > MOST_BYTES:
        return False
    before = path.read_bytes()
    return not before or before == data or fingerprint(before) in journal.written


def _of_journal(path: Path, most_bytes: int) -> TakeOnDisk:
    size = 0
    try:
        if not path.is_file():
            return TakeOnDisk(path=path, state=TakeState.NO_FILE)
        with path.open("r+b") as file:
            in_use = not lock(file)
            state = TakeState.IN_USE if in_use else TakeState.UNFINISHED
            size = os.fstat(file.fileno()).st_size
            if most_bytes < size <= MOST_BYTES and file.read(len(HEADER)) == HEADER.encode():
                take = path.with_suffix(TAKE_SUFFIX)
                return TakeOnDisk(path=take, state=state, size=size, counted=False)
            file.seek(0)
            journal = read_journal(file) if size <= most_bytes else None
    except OSError:
        return TakeOnDisk(path=path, state=TakeState.UNREADABLE, size=size)
    if journal is None or (journal.unread and not journal.notes and not in_use):
        return TakeOnDisk(path=path, state=TakeState.UNREADABLE, size=size)
    return TakeOnDisk(
        path=path.with_suffix(TAKE_SUFFIX),
        state=state,
        size=size,
        length_s=max((entry.at_s for entry in journal.entries), default=0.0),
        played=_strikes(journal.entries, EntryKind.PLAYED),
        sounded=_strikes(journal.entries, EntryKind.SOUNDED),
    )


def _strikes(entries: tuple[Entry, ...], kind: EntryKind) -> int:
    return sum(
        entry.kind is kind and entry.data[0] & 0xF0 == 0x90 and entry.data[2] > 0
        for entry in entries
    )


def _of_file(path: Path, most_bytes: int) -> TakeOnDisk:
    size = 0
    try:
        if not path.is_file():  # reading a fifo would wait for ever
            return TakeOnDisk(path=path, state=TakeState.NO_FILE)
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            if size > most_bytes:
                for _ in chunks(file, size):  # whole as far as that can be told cheaply
                    pass
                return TakeOnDisk(path=path, state=TakeState.WHOLE, size=size, counted=False)
            found = summary(file, size)
    except (OSError, ValueError):
        return TakeOnDisk(path=path, state=TakeState.UNREADABLE, size=size)
    return TakeOnDisk(
        path=path,
        state=TakeState.WHOLE,
        size=size,
        length_s=found.length_s,
        played=found.strikes.get(PLAYER, 0),
        sounded=found.strikes.get(LIVECONT, 0),
    )
