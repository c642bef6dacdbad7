"""The broker refuses, or accepts and stays silent, while forms are sent. In a process of its own, with the
real settings for Redis and a real socket at the other end."""

from __future__ import annotations

import contextlib
import json
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.postbox import free_port, open_postbox, wait_until
from tests.services.serving import ROOT, environment

pytestmark = pytest.mark.services

MOST_SECONDS_MORE = 2.0
REQUESTS = 5

FORMS = """
import json, re, sys, time
import django
django.setup()
from django.core.management import call_command
from django.test import Client
from shopdesk.base import nudge, sweep
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop

call_command("migrate", verbosity=0)
Shop.objects.create(id=1, name="Tidewell Bench", address="8 Slip Lane", email="hello@tidewell.example.com",
                    zone="America/New_York", currency="USD", locale="en_US")

def send():
    browser = Client(SERVER_NAME="localhost")
    key = re.search(r'name="submission" value="([0-9a-f-]+)"', browser.get("/request/").content.decode())[1]
    began = time.monotonic()
    answer = browser.post("/request/", {"submission": key, "pieces": "1", "piece0-name": "bureau",
        "wish": "Its old warmth back.", "name": "Ismay Thorne", "email": "ismay@example.com"})
    assert answer.status_code == 302, answer.content
    return time.monotonic() - began

real, nudge._send = nudge._send, lambda task: None
send()                                            # the first one reads every template
without = max(send(), send())
nudge._send = real
took = [send(), send()]                           # the second while the first nudge may still be stuck
waiting = list(Email.objects.values_list("kind", "state"))
print(json.dumps({"without": without, "took": took, "waiting": waiting}), flush=True)
sys.stdin.readline()                              # some time later: a worker's sweep
began = time.monotonic()
sweep.sweep()
states = list(Email.objects.values_list("state", flat=True))
print(json.dumps({"states": states, "swept": time.monotonic() - began}), flush=True)
"""


@contextmanager
def silent_server() -> Iterator[tuple[int, list[socket.socket]]]:
    """Takes every connection, reads nothing and answers nothing."""
    held: list[socket.socket] = []
    with socket.create_server(("127.0.0.1", 0), backlog=16) as server:

        def accept() -> None:
            while True:
                try:
                    held.append(server.accept()[0])
                except OSError:  # closed: the test is over
                    return

        threading.Thread(target=accept, daemon=True).start()
        yield server.getsockname()[1], held
        with contextlib.suppress(OSError):  # macOS says no; closing is enough there
            server.shutdown(socket.SHUT_RDWR)
    for one in held:
        one.close()


def forms_are_sent_and_emails_go_out_later(broker_port: int, var: Path) -> None:
    with open_postbox() as postbox:
        told = {
            "REDIS_URL": f"redis://127.0.0.1:{broker_port}/0",
            "EMAIL_URL": postbox.url,
            "DEBUG": "1",  # pages without gathering static files first
            "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
            "LOG_LEVEL": "ERROR",
        }
        process = subprocess.Popen(
            [sys.executable, "-c", FORMS],
            cwd=ROOT,
            env=environment(var, told),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            sent = json.loads(process.stdout.readline())
            for seconds in sent["took"]:
                assert seconds <= sent["without"] + MOST_SECONDS_MORE, sent
            written = sorted(kind for kind, _ in sent["waiting"])
            assert written == ["new-request"] * REQUESTS + ["request-received"] * REQUESTS
            assert {state for _, state in sent["waiting"]} == {"waiting"}
            assert postbox.arrived == []
            process.stdin.write("\n")
            process.stdin.flush()
            swept = json.loads(process.stdout.readline())
            assert swept["states"] == ["done"] * 2 * REQUESTS
            assert wait_until(lambda: len(postbox.arrived) == 2 * REQUESTS, 10)
            assert len({letter["Message-ID"] for letter in postbox.arrived}) == 2 * REQUESTS
            assert process.wait(20) == 0  # a nudge that is stuck holds nothing up
        finally:
            process.kill()
            process.wait(10)


def test_the_broker_refuses(tmp_path: Path) -> None:
    forms_are_sent_and_emails_go_out_later(free_port(), tmp_path / "var")


def test_the_broker_accepts_and_stays_silent(tmp_path: Path) -> None:
    with silent_server() as (port, held):
        forms_are_sent_and_emails_go_out_later(port, tmp_path / "var")
        assert held, "nobody asked the broker"
