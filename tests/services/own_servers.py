"""A PostgreSQL and a Redis that a test may kill: started by it on loopback, in folders of their own, and
ended by their own process ids."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import redis

from tests.conftest import need
from tests.postbox import free_port
from tests.services.serving import wait_for


def _postgres_programs() -> Path | None:
    """Where `initdb` and `pg_ctl` are: on the PATH, or where Debian keeps them."""
    found = shutil.which("initdb")
    if found:
        return Path(found).parent
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name))
    return folders[-1] if folders else None


class OwnPostgres:
    """PostgreSQL refuses to run as root: there it runs as the user `postgres`."""

    def __init__(self, programs: Path, folder: Path) -> None:
        self._programs, self._folder, self.port = programs, folder, free_port()
        self.restarts = 0
        self._as: tuple[str, ...] = ()
        if os.geteuid() == 0:
            them = pwd.getpwnam("postgres")
            os.chown(folder, them.pw_uid, them.pw_gid)
            self._as = ("runuser", "-u", "postgres", "--")

    @property
    def url(self) -> str:
        return f"postgres://postgres@127.0.0.1:{self.port}/postgres"

    def _run(self, program: str, *arguments: str) -> None:
        command = [*self._as, str(self._programs / program), "-D", str(self._folder / "data"), *arguments]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=60, cwd=self._folder)

    def make(self) -> None:
        self._run("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync")

    def start(self) -> None:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -k {self._folder} -c max_connections=60"
        self._run("pg_ctl", "-w", "-l", str(self._folder / "log"), "-o", options, "start")

    def stop(self) -> None:
        """At once, as when the machine goes off: what was committed is found again in its log."""
        self._run("pg_ctl", "-w", "-m", "immediate", "stop")

    def restart(self) -> None:
        self.stop()
        self.restarts += 1
        time.sleep(0.5)
        self.start()

    def answers(self) -> bool:
        try:
            with psycopg.connect(self.url, connect_timeout=1):
                return True
        except psycopg.Error:
            return False


@contextmanager
def own_postgres() -> Iterator[OwnPostgres]:
    programs = _postgres_programs()
    need("postgres", programs is not None, "there is no initdb")
    assert programs is not None
    folder = Path(tempfile.mkdtemp(prefix="shopdesk-postgres-"))
    server = OwnPostgres(programs, folder)
    try:
        server.make()
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


class OwnRedis:
    def __init__(self, program: str, folder: Path) -> None:
        self._program, self._folder, self.port = program, folder, free_port()
        self._server: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        self._server = subprocess.Popen(
            [*(self._program, "--bind", "127.0.0.1", "--port", str(self.port), "--save", "", "--dir"), "."],
            cwd=self._folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )
        wait_for(self.answers, "redis-server answers", 10)

    def stop(self) -> None:
        if self._server is not None:
            self._server.kill()
            self._server.wait(10)
            self._server = None

    def answers(self) -> bool:
        try:
            with redis.Redis.from_url(self.url, socket_connect_timeout=1, socket_timeout=1) as client:
                return bool(client.ping())
        except redis.RedisError:
            return False

    def flush(self) -> None:
        with redis.Redis.from_url(self.url, socket_connect_timeout=1, socket_timeout=1) as client:
            client.flushall()


@contextmanager
def own_redis(folder: Path) -> Iterator[OwnRedis]:
    program = shutil.which("redis-server")
    need("redis", program is not None, "there is no redis-server on the PATH")
    assert program is not None
    server = OwnRedis(program, folder)
    server.start()
    try:
        yield server
    finally:
        server.stop()
