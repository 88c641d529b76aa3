"""Writing a file whole or not at all, and never over another unless asked.

Conventions: bytes in; whatever is wrong ends as one line that names the path.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from livecont.errors import ScoreError


def check_free(path: Path, *, force: bool = False) -> None:
    """Check that a file may be written, before the work is done.

    Raises:
        ScoreError: something is there already, or there is no such folder.
    """
    if path.is_dir():
        raise ScoreError(f"{path}: a folder, not a file")
    if path.exists() and not path.is_file():
        # a whole new file in its place would do away with a device, such as /dev/null
        raise ScoreError(f"{path}: a device, not a file: choose another name")
    if path.exists() and not force:
        raise ScoreError(f"{path} is there already: --force writes over it")
    if not path.parent.is_dir():
        raise ScoreError(f"{path}: there is no folder {path.parent}")


def write_new(path: Path, data: bytes, *, force: bool = False) -> None:
    """Write a file, whole or not at all.

    Raises:
        ScoreError: it can't be written, or something is there already.
    """
    check_free(path, force=force)
    temporary = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=path.parent, prefix=".livecont-", suffix=path.suffix, delete=False
        ) as file:
            temporary = file.name
            file.write(data)
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None and os.path.exists(temporary):
            os.unlink(temporary)
        raise ScoreError(f"{path}: can't be written ({error.strerror or error})") from error


def _umask() -> int:
    """Return the permissions that new files go without; the system tells only when it is set."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
