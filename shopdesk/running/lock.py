"""Only one at a time: a shop that runs, or somebody who puts a backup in its place."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class InUse(Exception):
    """Somebody else has the folder. The text is a sentence for the person at the terminal."""


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Hold `folder` (a shop's `var/`) for as long as the block lasts. Raises `InUse` at once where another
    process holds it; a process that dies, however it dies, lets go."""
    handle = os.open(folder / "serve.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            holder = os.pread(handle, 20, 0).decode(errors="replace").strip()
            who = f" (process {holder})" if holder.isdigit() else ""
            raise InUse(f"The shop in {folder} is running already{who}. Stop it first.") from error
        os.ftruncate(handle, 0)
        os.pwrite(handle, f"{os.getpid()}\n".encode(), 0)
        yield
        os.ftruncate(handle, 0)
    finally:
        os.close(handle)
