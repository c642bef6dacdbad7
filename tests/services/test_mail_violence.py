"""Five hundred emails while everything that can die does: workers by SIGKILL, Redis emptied and restarted,
PostgreSQL stopped as by a power cut, a mail server that stalls, drops lines, puts off and refuses.

Every process goes by one clock that is handed in and runs faster than the wall's, so that the real leases,
waits and pauses (minutes, in a shop) come round within the test.
"""

from __future__ import annotations

import asyncio
import contextlib
import email
import random
import signal
import subprocess
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from email import policy
from pathlib import Path
from typing import Any

import psycopg
import pytest
from aiosmtpd.controller import Controller

from tests.postbox import free_port
from tests.services.own_servers import OwnPostgres, OwnRedis, own_postgres, own_redis
from tests.services.serving import ROOT, environment

pytestmark = pytest.mark.services

EMAILS = 500
WORKERS = 4
RATE = 60
"""How much faster the handed-in clock runs: a lease of five minutes is five seconds of the wall's."""
STALL = 7.0
"""Seconds of the wall's that the mail server sometimes takes to say yes: longer than a lease."""
NEVER = {f"person{n}@example.com" for n in range(0, EMAILS, 25)}
ROUGH_SECONDS = 150.0
CALM_SECONDS = 120.0

CLOCK = f"""
import os
import time
from datetime import UTC, datetime, timedelta
import django
django.setup()
from django.apps import apps
from django.utils import timezone
_began = float(os.environ["TEST_CLOCK_BEGAN"])
_real = timezone.now
def _fast():
    return datetime.fromtimestamp(_began + (time.time() - _began) * {RATE}, UTC)
for _model in apps.get_models():
    for _field in _model._meta.local_fields:
        if _field.default is _real:
            _field.default = _fast
            _field.__dict__.pop("_get_default", None)
timezone.now = _fast
"""

WORKER = f"""{CLOCK}
from shopdesk.celery import app
app.worker_main(["worker", "--pool", "solo", "--loglevel", "ERROR", "--without-gossip", "--without-mingle",
                 "--without-heartbeat", "--hostname", "w" + str(os.getpid()) + "@test"])
"""

BEAT = f"""{CLOCK}
import sys
from shopdesk.celery import app
app.Beat(schedule=sys.argv[1], loglevel="CRITICAL", quiet=True).run()
"""

WRITER = f"""{CLOCK}
from django.db import OperationalError, close_old_connections, connection, transaction
from shopdesk.mail.actions import Person, write
for n in range({EMAILS}):
    while True:
        try:
            with transaction.atomic():
                write("question", to=Person(f"Person {{n}}", f"person{{n}}@example.com"),
                      sender=Person("Tidewell Bench", "hello@tidewell.example.com"),
                      context={{"pieces": "desk", "text": f"For person {{n}} alone",
                               "items": [{{"text": f"For person {{n}} alone", "pictures": 0}}],
                               "page": "shopdesk-link:desk/desk/"}},
                      thread=f"commission {{n % 40}}")
            break
        except OperationalError:
            connection.close()
            time.sleep(0.2)
    time.sleep(0.02)
"""


class RoughServer:
    """Takes most emails. `taken` holds Message-ID, recipient and text of each that it said yes to, or kept
    although its yes was lost."""

    def __init__(self) -> None:
        self.taken: list[tuple[str, str, str]] = []
        self.did: Counter[str] = Counter()
        self.calm = False
        self._chance = random.Random(20261125)

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        if address in NEVER:
            self.did["never"] += 1
            return "550 5.1.1 no such user"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        await asyncio.sleep(0.08)
        fate = 1.0 if self.calm else self._chance.random()
        if fate < 0.10:
            self.did["later"] += 1
            return "451 4.7.1 come back later"
        text = envelope.content.decode()
        (recipient,) = envelope.rcpt_tos
        self.taken.append((email.message_from_string(text)["Message-ID"], recipient, text))
        if fate < 0.14:
            self.did["drop"] += 1
            server.transport.abort()
        elif fate < 0.16:
            self.did["stall"] += 1
            await asyncio.sleep(STALL)
        return "250 OK"


@contextmanager
def rough_server() -> Iterator[tuple[RoughServer, int]]:
    server, port = RoughServer(), free_port()
    controller = Controller(server, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield server, port
    finally:
        controller.stop()


class Shop:
    """Its processes: four workers, and the clock that makes them look."""

    def __init__(self, var: Path, told: dict[str, str]) -> None:
        self.var, self.told = var, told
        self.workers: list[subprocess.Popen[bytes]] = []
        self.kills = 0
        self._others: list[subprocess.Popen[bytes]] = []

    def run(self, script: str, *arguments: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-c", script, *arguments],
            cwd=ROOT,
            env=environment(self.var, self.told),
            stdin=subprocess.DEVNULL,
            stderr=(self.var / f"said-{len(list(self.var.glob('said-*')))}").open("wb"),
        )

    def start(self) -> None:
        self.workers = [self.run(WORKER) for _ in range(WORKERS)]
        self._others = [self.run(BEAT, str(self.var / "beat")), self.run(WRITER)]

    @property
    def written(self) -> bool:
        return self._others[1].poll() == 0

    def kill_one(self, place: int) -> None:
        """A worker is gone without a word; another takes its place. One that ended by itself is a fault."""
        worker = self.workers[place]
        assert worker.poll() is None, f"a worker ended by itself with {worker.returncode}"
        worker.send_signal(signal.SIGKILL)
        worker.wait(10)
        self.kills += 1
        self.workers[place] = self.run(WORKER)

    def stop(self) -> None:
        for process in [*self.workers, *self._others]:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            process.wait(10)


def rows(database: OwnPostgres) -> list[tuple[str, str, str, str]]:
    """Message-ID, address, state and trouble of every email."""
    try:
        with psycopg.connect(database.url, connect_timeout=2) as connection:
            asked = "select message_id, to_address, state, trouble from mail_email"
            return connection.execute(asked).fetchall()
    except psycopg.OperationalError:  # it is being restarted
        return []


def dead(database: OwnPostgres) -> set[str]:
    """Addresses that nothing is written to any more."""
    with psycopg.connect(database.url, connect_timeout=10) as connection:
        return {address for (address,) in connection.execute("select address from mail_deadaddress")}


def unended(database: OwnPostgres) -> int:
    found = rows(database)
    return sum(state not in ("done", "failed") for _, _, state, _ in found) if found else EMAILS


def be_rough(shop: Shop, database: OwnPostgres, broker: OwnRedis, server: RoughServer) -> None:
    """Something dies every few seconds, until most of it has arrived: as soon as ten more have, so that a
    slow machine is not killed at its start over and over."""
    end, turn = time.monotonic() + ROUGH_SECONDS, 0
    while len(server.taken) < EMAILS * 0.8 and time.monotonic() < end:
        before, at_last = len(server.taken), time.monotonic() + 12
        time.sleep(1.5)
        while len(server.taken) < before + 10 and time.monotonic() < at_last:
            time.sleep(0.1)
        turn += 1
        shop.kill_one(turn % WORKERS)
        if turn % 5 == 2:
            broker.flush()
        if turn % 7 == 4:
            broker.stop()
            time.sleep(0.5)
            broker.start()
        if turn % 6 == 5:
            database.restart()


def test_nothing_is_lost_doubled_or_misdirected_whatever_dies(tmp_path: Path) -> None:
    with own_postgres() as database, own_redis(tmp_path) as broker, rough_server() as (server, port):
        told = {
            "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
            "DATABASE_URL": database.url,
            "REDIS_URL": broker.url,
            "EMAIL_URL": f"smtp://127.0.0.1:{port}",
            "LOG_LEVEL": "CRITICAL",
            "SWEEP_SECONDS": "1",
            "TEST_CLOCK_BEGAN": str(time.time()),
        }
        var = tmp_path / "var"
        var.mkdir()
        migrate = [sys.executable, "manage.py", "migrate", "--verbosity", "0"]
        subprocess.run(migrate, cwd=ROOT, env=environment(var, told), check=True, timeout=120)
        shop = Shop(var, told)
        try:
            shop.start()
            be_rough(shop, database, broker, server)
            server.calm = True
            end = time.monotonic() + CALM_SECONDS
            while (left := unended(database)) or not shop.written:
                assert time.monotonic() < end, f"{left} emails have not come to an end; {shop.kills} kills"
                time.sleep(0.5)
        finally:
            shop.stop()
        found, given_up = rows(database), dead(database)
        restarts = database.restarts

    # What was meant to happen did.
    assert shop.kills >= 8
    assert restarts >= 2
    assert all(server.did[what] for what in ("later", "drop", "stall", "never")), server.did

    assert len(found) == EMAILS
    to = {message_id: address for message_id, address, _, _ in found}
    # The named set stands at the desk as refused for good, and says why.
    refused = {message_id: trouble for message_id, _, state, trouble in found if state == "failed"}
    assert {to[message_id] for message_id in refused} == NEVER
    assert all("550 5.1.1 no such user" in trouble for trouble in refused.values())
    assert given_up == NEVER
    # Every other email was taken at least once, and none is left under way.
    assert Counter(state for _, _, state, _ in found) == {"done": EMAILS - len(NEVER), "failed": len(NEVER)}
    assert {message_id for message_id, _, _ in server.taken} == set(to) - set(refused)
    # None went to another person, or with another person's words.
    for message_id, recipient, text in server.taken:
        letter = email.message_from_string(text, policy=policy.default)
        part = letter.get_body(("plain",))
        assert part is not None
        assert recipient == to[message_id]
        number = recipient.removeprefix("person").removesuffix("@example.com")
        assert f"For person {number} alone" in part.get_content()
    # What was taken again is the same to the byte, and no more often than something died on the way.
    same: dict[str, set[str]] = defaultdict(set)
    for message_id, _, text in server.taken:
        same[message_id].add(text)
    assert all(len(texts) == 1 for texts in same.values())
    again = len(server.taken) - len(same)
    allowed = shop.kills + server.did["drop"] + server.did["stall"] + restarts * WORKERS
    print(f"{again} taken again, {allowed} allowed: {shop.kills} kills, {restarts} restarts, {server.did}")
    assert again <= allowed
