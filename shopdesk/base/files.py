"""Files that are there whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from pathlib import Path

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
PART = ".part-"
"""How the name of a file begins while it is being written. One that is left over is from somebody who was
killed."""


def put(path: Path, data: bytes) -> None:
    """Write `data` to `path` so that a reader, or a power cut, finds all of it or nothing: beside it first,
    then moved there.

    Raises `OSError`, and leaves nothing behind then. `no_room` says whether the disk was full.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(prefix=PART, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(part).replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(part).unlink()
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def no_room(error: OSError) -> bool:
    """Whether the write failed because there was no room for it."""
    return error.errno in _FULL
