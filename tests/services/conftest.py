"""Servers for tests: a Redis of their own, and databases of their own in a PostgreSQL that is there."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import uuid
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
import redis

from shopdesk.running.testing import postgres_trouble, postgres_url
from tests.conftest import need
from tests.services.serving import wait_for


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def redis_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A Redis of our own on a free port; without the program, the one that `SHOPDESK_TEST_REDIS` names."""
    program = shutil.which("redis-server")
    if program is None:
        named = os.environ.get("SHOPDESK_TEST_REDIS", "")
        need("redis", bool(named) and _redis_answers(named), "there is no redis-server on the PATH")
        yield named
        return
    folder, port = tmp_path_factory.mktemp("redis"), free_port()
    server = subprocess.Popen(
        [program, "--bind", "127.0.0.1", "--port", str(port), "--save", "", "--dir", str(folder)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
    )
    try:
        url = f"redis://127.0.0.1:{port}/0"
        wait_for(lambda: _redis_answers(url), "redis-server answers", 10)
        yield url
    finally:
        server.terminate()
        server.wait(timeout=10)


def _redis_answers(url: str) -> bool:
    try:
        with redis.Redis.from_url(url, socket_connect_timeout=1, socket_timeout=1) as client:
            return bool(client.ping())
    except redis.RedisError:
        return False


@pytest.fixture
def postgres_database() -> Iterator[str]:
    """The address of an empty PostgreSQL database, which is dropped at the end."""
    trouble = postgres_trouble()
    need("postgres", not trouble, trouble)
    server = postgres_url()
    name = f"shopdesk_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        try:
            yield urlunsplit(urlsplit(server)._replace(path=f"/{name}"))
        finally:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture
def var(tmp_path: Path) -> Path:
    """The folder of a shop that has not begun."""
    folder = tmp_path / "var"
    folder.mkdir()
    return folder
