"""Whether a path names a plain file, asked before it is opened.

A fifo keeps whoever opens it waiting for a writer, and a device may never end.
Conventions: the answer is words for a message, without the path; None where nothing is wrong.
"""

from __future__ import annotations

import stat
from pathlib import Path


def not_plain(path: Path) -> str | None:
    """Return why something can't be read as a file, links followed; None for a plain file.

    Raises:
        OSError: there is nothing, or it is kept from us.
        ValueError: no file can have this name.

    >>> not_plain(Path("/"))
    'a folder, not a file'
    """
    mode = path.stat().st_mode
    if stat.S_ISREG(mode):
        return None
    if stat.S_ISDIR(mode):
        return "a folder, not a file"
    return "not a file but a pipe or a device: name a file on the disk"
