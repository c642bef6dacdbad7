"""One of the processes that make up a running shop: `python -m shopdesk.running.part gunicorn …`.

Its standard input is a pipe: `shopdesk.running.processes` holds the other end, and never writes to it. When
that end closes, the one who looks after it is gone, however it went: this process stops, and takes along all
that it started.
"""

from __future__ import annotations

import contextlib
import os
import runpy
import signal
import sys
import threading
import time
import warnings

PATIENCE = 10.0
"""Seconds that a part has for ending what it is at."""


def stop_when_left_alone() -> None:
    """Waits for the end of standard input, as long as that takes."""
    with contextlib.suppress(OSError):
        while os.read(0, 1):
            pass
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(PATIENCE)
    if os.getpgrp() == os.getpid():  # the group is ours alone
        os.killpg(os.getpid(), signal.SIGKILL)


if __name__ == "__main__":
    # Celery warns root of pickled messages. Ours are JSON and carry nothing.
    warnings.filterwarnings("ignore", message="You're running the worker with superuser privileges")
    threading.Thread(target=stop_when_left_alone, daemon=True, name="left alone?").start()
    sys.argv = sys.argv[1:]
    runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)
