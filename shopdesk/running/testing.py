"""What `manage.py test` runs, and where it finds PostgreSQL."""

from __future__ import annotations

import os
from dataclasses import dataclass
from urllib.parse import urlsplit, urlunsplit

import psycopg

BULK = "not services and not browser"


@dataclass(frozen=True)
class Step:
    """One run of pytest."""

    title: str
    database: str
    """`sqlite` or `postgres`."""
    arguments: tuple[str, ...]


ALL = (
    Step("SQLite", "sqlite", ("-n", "2", "-m", BULK)),
    Step("SQLite, with servers of its own and a browser", "sqlite", ("-m", "services or browser")),
    Step("PostgreSQL", "postgres", ("-n", "2", "-m", BULK)),
    Step("PostgreSQL, with servers of its own", "postgres", ("-m", "services and not browser")),
)
"""The whole suite. What starts servers runs alone: it measures waits, and the machine may have two cores."""


def postgres_url() -> str:
    """The server to make test databases in: `SHOPDESK_TEST_POSTGRES`, or the usual place on this machine."""
    return os.environ.get("SHOPDESK_TEST_POSTGRES") or "postgres://postgres@127.0.0.1:5432/postgres"


def postgres_trouble() -> str:
    """Why PostgreSQL cannot be used for tests, in one line; empty where it can."""
    try:
        with psycopg.connect(postgres_url(), connect_timeout=3) as connection:
            row = connection.execute(
                "SELECT rolcreatedb OR rolsuper FROM pg_roles WHERE rolname = current_user"
            ).fetchone()
    except psycopg.Error as error:
        return (str(error).strip().splitlines() or ["no reason given"])[0]
    return "" if row is not None and row[0] else "its role may not make databases"


def postgres_for(run: int) -> str:
    """The address whose database name Django puts `test_` before: one of this run's own."""
    return urlunsplit(urlsplit(postgres_url())._replace(path=f"/shopdesk_{run}"))
