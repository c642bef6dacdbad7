"""A shop on one machine: the web server, a worker and the clock, as children of one process that looks after
them.

    with Shopkeeper(port=8000) as keeper:
        keeper.start()
        keeper.wait_until_up(30)
        keeper.run_until_signal()

Each part leads a session of its own, so that Ctrl-C reaches this process alone and stopping one takes along
what it started. What happens to them when this process is killed outright: see `part.py`.
"""

from __future__ import annotations

import contextlib
import http.client
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import FrameType, TracebackType
from typing import Any, Self
from urllib.parse import urlsplit

from django.conf import settings

from shopdesk.base.nudge import nudge
from shopdesk.running.lock import alone
from shopdesk.running.part import PATIENCE

WEB, WORKER, CLOCK = "web server", "worker", "clock"
ALL = (WEB, WORKER, CLOCK)
SETTLED = 60.0
"""A part that lived this many seconds starts again at once when it dies."""
LONGEST_PAUSE = 30.0
LOOK_EVERY = 0.1


def tell(line: str) -> None:
    print(line, flush=True)


class CannotServe(Exception):
    """The shop cannot be opened. The text is a sentence for the person at the terminal."""


@dataclass
class Part:
    """One child, and how it has been faring."""

    name: str
    command: list[str]
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    quick_deaths: int = 0
    again_at: float = field(default=0.0)

    def pause(self, now: float) -> float:
        """Seconds until it may start again after a death at `now`: 0, 1, 2, 4 … while it keeps dying
        young."""
        self.quick_deaths = self.quick_deaths + 1 if now - self.started < SETTLED else 0
        return 0.0 if self.quick_deaths <= 1 else float(min(2 ** (self.quick_deaths - 2), LONGEST_PAUSE))


class Shopkeeper:
    """Starts the parts, starts again what dies, stops them all. `port=0` takes a free one; `port` then says
    which.

    `environ` is added to the parts' environment. Without a `PUBLIC_URL` of their own, links lead to
    `localhost` at the port. Used as a context manager it notes SIGINT, SIGTERM and SIGHUP from the beginning
    (`asked_to_stop`), and stops the parts at the end.
    """

    def __init__(
        self,
        *,
        host: str = "127.0.0.1",
        port: int = 8000,
        parts: Sequence[str] = ALL,
        environ: Mapping[str, str] | None = None,
        say: Callable[[str], None] = tell,
    ) -> None:
        self.host, self.port = host, port
        self.say = say
        self._wanted = tuple(parts)
        self._environ = dict(environ or {})
        self._parts: list[Part] = []
        self._held = contextlib.ExitStack()
        self._claimed = False
        self._listener: socket.socket | None = None
        self._pipe: tuple[int, int] | None = None
        self._signals = 0
        self._before: dict[int, Any] = {}

    # -- in the terminal -------------------------------------------------------------------------------------

    def __enter__(self) -> Self:
        if threading.current_thread() is threading.main_thread():
            for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
                if number == signal.SIGHUP and signal.getsignal(number) == signal.SIG_IGN:  # nohup
                    continue
                self._before[number] = signal.signal(number, self._hear)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            self.stop()
        finally:
            for number, before in self._before.items():
                signal.signal(number, before)
            self._before.clear()

    def _hear(self, _number: int, _frame: FrameType | None) -> None:
        self._signals += 1

    @property
    def asked_to_stop(self) -> bool:
        return self._signals > 0

    @property
    def url(self) -> str:
        """Where clients find the shop."""
        named = self._environ.get("PUBLIC_URL") or os.environ.get("PUBLIC_URL")
        return named.rstrip("/") if named else f"http://localhost:{self.port}"

    # -- opening ---------------------------------------------------------------------------------------------

    def claim(self) -> None:
        """Take the folder and the port, before anything is touched. `start` does it where it has not been
        done. Raises `InUse` where a shop runs in the folder already, and `CannotServe` where the port cannot
        be had."""
        if self._claimed:
            return
        with contextlib.ExitStack() as held:
            held.enter_context(alone(settings.VAR))
            # What a shop writes is for its owner alone; the parts inherit this. A database from before, too.
            held.callback(os.umask, os.umask(0o077))
            with contextlib.suppress(FileNotFoundError, PermissionError):
                (settings.VAR / "shop.sqlite3").chmod(0o600)
            if WEB in self._wanted:
                self._listener = held.enter_context(self._listen())
                self.port = self._listener.getsockname()[1]
            self._held = held.pop_all()
        self._claimed = True

    def _listen(self) -> socket.socket:
        """The port is ours from here on: people who come while the web server starts again wait a moment and
        are served."""
        if not 0 <= self.port <= 65535:
            raise CannotServe(f"There is no port {self.port}: the highest is 65535.")
        try:
            family, kind, _, _, address = socket.getaddrinfo(
                self.host, self.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
            )[0]
        except socket.gaierror as error:
            raise CannotServe(
                f"There is no address {self.host} with the port {self.port} on this machine."
            ) from error
        listener = socket.socket(family, kind)
        try:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind(address)
            listener.listen(128)
        except OSError as error:
            listener.close()
            raise CannotServe(
                f"Port {self.port} of {self.host} cannot be had: {(error.strerror or 'refused').lower()}. "
                "Choose another with --port."
            ) from error
        return listener

    def start(self) -> None:
        """Start the parts. Raises what `claim` raises."""
        self.claim()
        read, write = os.pipe()
        self._pipe = (read, write)
        self._held.callback(os.close, read)
        for name in self._wanted:
            part = Part(name, self._command(name))
            self._parts.append(part)
            self._launch(part)
        if WORKER in self._wanted:
            nudge("shopdesk.base.sweep")  # the clock's first is half a minute away

    def _command(self, name: str) -> list[str]:
        if name == WEB:
            assert self._listener is not None
            options = {
                "--bind": f"fd://{self._listener.fileno()}",
                "--worker-class": "shopdesk.running.web.ImpatientWorker",
                "--workers": "2",
                "--threads": "4",
                "--timeout": "60",
                "--graceful-timeout": f"{PATIENCE - 2:.0f}",
                "--worker-tmp-dir": str(settings.VAR),
                "--forwarded-allow-ips": "",  # whom to believe is said in one place: TRUSTED_PROXIES
                "--log-level": "warning",
            }
            pairs = [word for pair in options.items() for word in pair]
            return ["gunicorn", "shopdesk.wsgi:application", "--no-control-socket", *pairs]
        celery = ["celery", "-A", "shopdesk.celery", "--quiet"]
        if name == WORKER:
            quiet = ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "WARNING"]
            return [*celery, "worker", "--pool", "prefork", "--concurrency", "2", *quiet]
        return [*celery, "beat", "--schedule", str(settings.VAR / "beat-schedule"), "--loglevel", "WARNING"]

    def _launch(self, part: Part) -> None:
        assert self._pipe is not None
        part.process = subprocess.Popen(
            [sys.executable, "-m", "shopdesk.running.part", *part.command],
            stdin=self._pipe[0],
            cwd=settings.BASE_DIR,
            env=self.environment(),
            start_new_session=True,
            pass_fds=() if self._listener is None or part.name != WEB else (self._listener.fileno(),),
        )
        part.started = time.monotonic()

    def environment(self) -> dict[str, str]:
        """What the parts get: this process's environment, the same shop, and what `environ` adds."""
        return {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
            "SHOPDESK_VAR": str(settings.VAR),
            "PYTHONUNBUFFERED": "1",
            **self._environ,
            "PUBLIC_URL": self.url,
        }

    def wait_until_up(self, timeout: float = 30.0) -> None:
        """Until the web server answers a request. Raises `CannotServe` when it has not by then; returns early
        when asked to stop."""
        end = time.monotonic() + timeout
        while not self.asked_to_stop:
            self.tend()
            if WEB not in self._wanted or self._answers():
                return
            if time.monotonic() > end:
                raise CannotServe(f"The web server has not answered within {timeout:.0f} seconds.")
            time.sleep(LOOK_EVERY)

    def _answers(self) -> bool:
        assert self._listener is not None
        host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(self.host, self.host)  # noqa: S104  asked, not offered
        connection = http.client.HTTPConnection(host, self.port, timeout=2)
        try:
            connection.request("GET", "/", headers={"Host": urlsplit(self.url).netloc})
            return connection.getresponse().status < 500
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()

    # -- looking after them ----------------------------------------------------------------------------------

    def tend(self) -> None:
        """Look at each part once, and start again what died."""
        now = time.monotonic()
        for part in self._parts:
            if part.process is not None and part.process.poll() is not None:
                ended = part.process.returncode
                end_group(part.process.pid)
                part.process = None
                pause = part.pause(now)
                part.again_at = now + pause
                when = f"in {pause:.0f} s" if pause else "now"
                self.say(f"The {part.name} {how_it_ended(ended)}; it starts again {when}.")
            if part.process is None and now >= part.again_at:
                self._launch(part)

    def run_until_signal(self) -> None:
        """Look after the parts until this process is asked to stop, which needs the context manager. The end
        of its block stops them."""
        while not self.asked_to_stop:
            self.tend()
            time.sleep(LOOK_EVERY)

    def stop(self) -> None:
        """Ask all parts to end, give them ten seconds (none after a second signal), end what is left. Then
        let go of folder and port."""
        running = [(part, part.process) for part in self._parts if part.process is not None]
        for _, process in running:
            if process.poll() is None:
                process.terminate()
        end = time.monotonic() + PATIENCE
        heard = self._signals
        while time.monotonic() < end and self._signals <= max(heard, 1):
            if all(process.poll() is not None for _, process in running):
                break
            time.sleep(LOOK_EVERY / 2)
        for part, process in running:
            if process.poll() is None:
                self.say(f"The {part.name} was still busy and is cut off.")
            end_group(process.pid)
            process.wait()
        if self._pipe is not None:
            os.close(self._pipe[1])
            self._pipe = None
        self._parts = []
        self._listener = None
        self._claimed = False
        self._held.close()


def end_group(leader: int) -> None:
    """What a part started and left behind, and the part itself where it is still there."""
    with contextlib.suppress(ProcessLookupError, PermissionError):  # nobody there; macOS says the latter
        os.killpg(leader, signal.SIGKILL)


def how_it_ended(code: int) -> str:
    if code >= 0:
        return f"ended with exit code {code}"
    with contextlib.suppress(ValueError):
        return f"was ended by {signal.Signals(-code).name}"
    return f"was ended by signal {-code}"
