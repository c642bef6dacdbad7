"""What `manage.py test` runs, and where it finds PostgreSQL."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import psycopg
from django.conf import settings

TOLD = {
    *(
        "ALLOWED_HOSTS",
        "DATABASE_URL",
        "DEBUG",
        "DJANGO_SETTINGS_MODULE",
        "EMAIL_URL",
        "LOG_LEVEL",
        "PUBLIC_URL",
    ),
    *("MAIL_GATHER_SECONDS", "REDIS_URL", "SECRET_KEY", "SHOPDESK_VAR", "SSL_REDIRECT", "SWEEP_SECONDS"),
    *("HSTS_SUBDOMAINS", "INBOX_ADDRESS", "INBOX_CA", "INBOX_URL", "TRUSTED_PROXIES"),
}
"""What a shop is told by its environment."""
BULK = "not services and not browser"
SQLITE, POSTGRES = "sqlite", "postgres"


@dataclass(frozen=True)
class Step:
    """One run of pytest on one database."""

    title: str
    database: str
    arguments: tuple[str, ...]


ALL = (
    Step("SQLite", SQLITE, ("-n", "2", "-m", BULK)),
    Step("SQLite, with servers of its own and a browser", SQLITE, ("-m", "services or browser")),
    Step("PostgreSQL", POSTGRES, ("-n", "2", "-m", f"database and {BULK}")),
    Step("PostgreSQL, with servers of its own", POSTGRES, ("-m", "database and services and not browser")),
)
"""The whole suite. What starts servers runs alone: it waits for things, and the machine may have two cores.
On PostgreSQL the tests that touch no database (`tests/conftest.py` marks those that do) are not run again."""


def run(arguments: Sequence[str], database: str | None = None) -> int:
    """The whole suite, or one run of pytest with `arguments`; the exit code says whether all went well."""
    steps: tuple[Step, ...] = ALL
    if arguments or database:
        steps = (
            Step("PostgreSQL" if database == POSTGRES else "SQLite", database or SQLITE, tuple(arguments)),
        )
    trouble = postgres_trouble() if any(step.database == POSTGRES for step in steps) else ""
    required = "postgres" in os.environ.get("SHOPDESK_REQUIRE", "").split(",") or database == POSTGRES
    results: list[str] = []
    worst = 0
    with tempfile.TemporaryDirectory(prefix="shopdesk-test-") as folder:
        for step in steps:
            if step.database == POSTGRES and trouble:
                results.append(
                    f"{step.title}: {'FAILED' if required else 'skipped'}, it cannot be used: {trouble}"
                )
                worst = max(worst, int(required))
                continue
            began = time.monotonic()
            print(f"\n== pytest on {step.title}", flush=True)
            code = _pytest(step, Path(folder))
            took = f"{time.monotonic() - began:.0f} s"
            results.append(f"{step.title}: {'good' if code == 0 else f'FAILED (exit code {code})'}, {took}")
            worst = max(worst, code)
            if code == 2:  # pytest was interrupted
                break
    print("\n" + "\n".join(f"== {line}" for line in results), flush=True)
    return worst


def environment(step: Step, folder: Path) -> dict[str, str]:
    """What the tests are told: their folder and their database, and nothing of this shop's."""
    told = {name: value for name, value in os.environ.items() if name not in TOLD}
    told["SHOPDESK_VAR"] = str(folder)
    if step.database == POSTGRES:
        told["DATABASE_URL"] = postgres_for(os.getpid())
    return told


def _pytest(step: Step, folder: Path) -> int:
    command = [sys.executable, "-m", "pytest", *step.arguments]
    with subprocess.Popen(command, cwd=settings.BASE_DIR, env=environment(step, folder)) as tests:
        before = signal.signal(signal.SIGTERM, lambda *_: tests.send_signal(signal.SIGINT))
        try:
            while True:
                with contextlib.suppress(
                    KeyboardInterrupt
                ):  # Ctrl-C reaches pytest as well, and it tidies up
                    code = tests.wait()
                    return code if code >= 0 else 128 - code
        finally:
            signal.signal(signal.SIGTERM, before)


# -- PostgreSQL ----------------------------------------------------------------------------------------------


def postgres_url() -> str:
    """The server to make test databases in: `SHOPDESK_TEST_POSTGRES`, or the usual place on this machine."""
    return os.environ.get("SHOPDESK_TEST_POSTGRES") or "postgres://postgres@127.0.0.1:5432/postgres"


def postgres_trouble() -> str:
    """Why PostgreSQL cannot be used for tests, in one line; empty where it can."""
    try:
        with psycopg.connect(postgres_url(), connect_timeout=3) as connection:
            asked = "SELECT rolcreatedb OR rolsuper FROM pg_roles WHERE rolname = current_user"
            row = connection.execute(asked).fetchone()
    except psycopg.Error as error:
        return (str(error).strip().splitlines() or ["no reason given"])[0]
    return "" if row is not None and row[0] else "its role may not make databases"


def postgres_for(run: int) -> str:
    """The address whose database name Django puts `test_` before: one of this run's own."""
    return urlunsplit(urlsplit(postgres_url())._replace(path=f"/shopdesk_{run}"))
