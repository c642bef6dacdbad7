"""Emails under rough treatment: a mail server that drops lines, puts off and refuses, and a worker that is
killed again and again in the middle of it. Real processes, a real SMTP server on loopback, the database of
this run."""

from __future__ import annotations

import asyncio
import email
import random
import signal
import socket
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from django.db import transaction

from shopdesk.mail.actions import Person, write
from shopdesk.mail.models import Email
from tests.services.serving import ROOT, environment, this_database

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]

WORKER = """
import time
from datetime import timedelta
import django
django.setup()
from shopdesk.base import work
from shopdesk.mail import delivery
delivery.LEASE = timedelta(seconds=2)      # the real ones are minutes: nobody waits that long for a test
work.growing_wait = lambda tries, **span: timedelta(seconds=0.2)
while True:
    delivery.deliver_all()
    time.sleep(0.05)
"""
EMAILS = 120
KILLS = 6
SECONDS = 50


class RoughServer:
    """Takes most emails; drops some lines before its yes and some after it, says "later" to some and "never"
    to those who are named."""

    def __init__(self, never: set[str]) -> None:
        self.never = never
        self.taken: list[tuple[str, str]] = []
        """Message-ID and whole text of each email that was taken."""
        self.did: Counter[str] = Counter()
        self.chance = random.Random(20261125)

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        if address in self.never:
            self.did["never"] += 1
            return "550 5.1.1 no such user"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        await asyncio.sleep(0.02)
        fate = self.chance.random()
        if fate < 0.06:
            self.did["dropped before"] += 1
            server.transport.abort()
            return "421 gone"
        if fate < 0.14:
            self.did["later"] += 1
            return "451 4.7.1 come back later"
        text = envelope.content.decode()
        self.taken.append((email.message_from_string(text)["Message-ID"], text))
        if fate < 0.20:
            self.did["dropped after"] += 1
            server.transport.abort()
        return "250 OK"


@pytest.fixture
def rough() -> Iterator[tuple[RoughServer, int]]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = RoughServer({f"person{n}@example.com" for n in range(0, EMAILS, 24)})
    controller = Controller(server, hostname="127.0.0.1", port=port)
    controller.start()
    yield server, port
    controller.stop()


def worker(port: int, var: Path) -> subprocess.Popen[bytes]:
    told = {
        "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
        "DATABASE_URL": this_database(),
        "EMAIL_URL": f"smtp://127.0.0.1:{port}",
        "LOG_LEVEL": "ERROR",
    }
    return subprocess.Popen([sys.executable, "-c", WORKER], cwd=ROOT, env=environment(var, told))


def kill(process: subprocess.Popen[bytes]) -> None:
    process.send_signal(signal.SIGKILL)
    process.wait(10)


def test_nothing_is_lost_and_what_comes_twice_is_the_same(
    rough: tuple[RoughServer, int], tmp_path: Path
) -> None:
    server, port = rough
    for n in range(EMAILS):
        with transaction.atomic():
            write(
                "question",
                to=Person(f"Person {n}", f"person{n}@example.com"),
                sender=Person("Tidewell Bench", "hello@tidewell.example.com"),
                context={"pieces": "desk", "text": f"Number {n}", "page": "shopdesk-link:desk/desk/"},
                thread=f"commission {n % 7}",
            )
    began = time.monotonic()
    in_the_middle = 0

    def in_time() -> bool:
        return time.monotonic() - began < SECONDS

    for round_ in range(1, KILLS + 1):
        process = worker(port, tmp_path)
        try:
            while len(server.taken) < round_ * 12 and in_time():
                assert process.poll() is None, "the worker ended by itself"
                time.sleep(0.01)
        finally:
            kill(process)
        in_the_middle += Email.objects.filter(state=Email.State.UNDER_WAY).count()
    process = worker(port, tmp_path)
    try:
        unended = Email.objects.filter(state__in=[Email.State.WAITING, Email.State.UNDER_WAY])
        while unended.exists() and in_time():
            time.sleep(0.1)
    finally:
        kill(process)

    assert in_the_middle > 0, "no kill hit a worker in the middle of an email"
    assert all(server.did[what] for what in ("dropped before", "dropped after", "later", "never")), server.did
    rows = {row.message_id: row for row in Email.objects.all()}
    assert len(rows) == EMAILS
    refused = {key for key, row in rows.items() if row.to_address in server.never}
    states = Counter(row.state for row in rows.values())
    assert states == {"done": EMAILS - len(refused), "failed": len(refused)}
    assert {rows[key].state for key in refused} == {"failed"}
    assert all("550 5.1.1 no such user" in rows[key].trouble for key in refused)
    assert {key for key, _ in server.taken} == set(rows) - refused
    # Twice is allowed where the yes was lost; it is then the same email, but for the boundary MIME draws.
    assert len(server.taken) > len(rows) - len(refused)
    texts: dict[str, set[str]] = {}
    for key, text in server.taken:
        boundary = email.message_from_string(text).get_boundary()
        assert boundary is not None
        texts.setdefault(key, set()).add(text.replace(boundary, "boundary"))
    assert all(len(same) == 1 for same in texts.values())
