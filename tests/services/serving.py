"""A shop in processes of its own: `manage.py serve` (or any other command) on a folder of its own."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Self
from urllib.parse import quote

from django.db import connection

from shopdesk.running.testing import TOLD

ROOT = Path(__file__).parent.parent.parent


def environment(var: Path, extra: Mapping[str, str] | None = None) -> dict[str, str]:
    """This process's environment without what a shop is told by; then its folder and `extra`."""
    plain = {name: value for name, value in os.environ.items() if name not in TOLD}
    return {**plain, "SHOPDESK_VAR": str(var), **(extra or {})}


def this_database() -> str:
    """The address of the database that this test is in, for a process that works on it as well."""
    database = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{database['NAME']}"
    who = f"{quote(database['USER'], safe='')}:{quote(database['PASSWORD'], safe='')}"
    where = f"{quote(database['HOST'] or '127.0.0.1', safe='')}:{database['PORT'] or 5432}"
    return f"postgres://{who}@{where}/{database['NAME']}"


def manage(var: Path, *args: str, **extra: str) -> subprocess.CompletedProcess[str]:
    """Run one command of `manage.py` on the shop in `var` and wait for it."""
    return subprocess.run(
        [sys.executable, "manage.py", *args],
        cwd=ROOT,
        env=environment(var, extra),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def wait_for(happens: Callable[[], object], what: str, seconds: float = 30) -> None:
    end = time.monotonic() + seconds
    while not happens():
        assert time.monotonic() < end, f"{what}: not within {seconds:.0f} seconds"
        time.sleep(0.05)


def alive(pid: int) -> bool:
    """Whether a process runs; one that has ended and was not collected does not."""
    stat = subprocess.run(["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, text=True, check=False)
    return stat.stdout.strip() != "" and not stat.stdout.startswith("Z")


def _processes() -> list[tuple[int, int, str]]:
    """Pid, parent's pid and command line of everything that runs."""
    listed = subprocess.run(
        ["ps", "-ww", "-eo", "pid=,ppid=,args="], capture_output=True, text=True, check=True
    )
    rows = (line.split(None, 2) for line in listed.stdout.splitlines())
    return [(int(row[0]), int(row[1]), row[2]) for row in rows if len(row) == 3]


class Served:
    """`manage.py serve` in a process of its own, on a free port. As a context manager it leaves nothing
    running."""

    def __init__(self, var: Path, *args: str, **extra: str) -> None:
        self.lines: list[str] = []
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "serve", *(args or ("--port", "0"))],
            cwd=ROOT,
            env=environment(var, extra),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line.rstrip("\n"))

    @property
    def printed(self) -> str:
        return "\n".join(self.lines)

    def until(self, text: str, seconds: float = 60) -> Self:
        """Wait until a line with `text` was printed."""
        end = time.monotonic() + seconds
        while not any(text in line for line in self.lines):
            assert self.process.poll() is None, f"serve ended with {self.process.returncode}:\n{self.printed}"
            assert time.monotonic() < end, f"{text!r} was not printed within {seconds:.0f} s:\n{self.printed}"
            time.sleep(0.05)
        return self

    def until_up(self) -> Self:
        return self.until("Ctrl-C stops the shop.")

    @property
    def url(self) -> str:
        found = re.search(r"(http://\S+)/desk/", self.printed)
        assert found, self.printed
        return found[1]

    def part(self, word: str) -> int:
        """The process id of the part whose command line has `word` ("gunicorn", "worker", "beat"); -1 while
        there is none."""
        return next((pid for pid, args in self.processes().items() if f" {word} " in f" {args} "), -1)

    def processes(self) -> dict[int, str]:
        """Pid → command line of the parts."""
        return {pid: args for pid, parent, args in _processes() if parent == self.process.pid}

    def family(self) -> dict[int, int]:
        """Pid → parent's pid of the parts and all that they started."""
        listed = _processes()
        found: dict[int, int] = {}
        parents = {self.process.pid}
        while parents:
            level = {pid: parent for pid, parent, _ in listed if parent in parents}
            found.update(level)
            parents = set(level)
        return found

    def stop(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Send the signal, wait until it has ended, and return its exit code."""
        self.process.send_signal(number)
        code = self.process.wait(timeout=30)
        self._reader.join(timeout=15)
        return code

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(timeout=30)
            except subprocess.TimeoutExpired:
                self.process.kill()  # its parts notice and go
                self.process.wait()
