"""The mailbox is read from a real IMAP server: Dovecot, started here on loopback, with TLS, a quota, and a
hard life."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from shopdesk.mail import arrivals, inbox, mailbox, queries
from shopdesk.mail.heard import heard as parse_email
from shopdesk.mail.models import Arrival, Mailbox
from tests.services.dovecot import (
    OTHER,
    OTHERS_PASSWORD,
    PASSWORD,
    QUOTA_MB,
    USER,
    Dovecot,
    letter,
)
from tests.services.dovecot import dovecot as dovecot
from tests.services.serving import ROOT, Served, environment, this_database, wait_for

pytestmark = [pytest.mark.services, pytest.mark.django_db]


@pytest.fixture
def post(dovecot: Dovecot, settings: Any) -> Dovecot:
    settings.INBOX_URL, settings.INBOX_CA = dovecot.url, dovecot.ca
    return dovecot


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """`later(minutes=1)`: the shop's clock goes on."""
    gone = timedelta()
    real = timezone.now

    def on(**span: float) -> None:
        nonlocal gone
        gone += timedelta(**span)

    monkeypatch.setattr(timezone, "now", lambda: real() + gone)
    return on


def row() -> Mailbox:
    return Mailbox.objects.get()


def subjects() -> list[str]:
    return list(Arrival.objects.order_by("pk").values_list("subject", flat=True))


def test_new_mail_is_read_once_in_order_and_the_mailbox_stays_as_it_was(post: Dovecot, later: Any) -> None:
    sent = [letter(n) for n in range(1, 6)]
    for raw in sent[:3]:
        post.deliver(raw)
    before = post.messages()
    assert mailbox.read_mailbox() == 3
    assert mailbox.read_mailbox() == 0
    for raw in sent[3:]:
        post.deliver(raw)
    later(minutes=1)
    assert mailbox.read_mailbox() == 2
    assert [arrivals.raw_of(one) for one in Arrival.objects.order_by("pk")] == sent
    after = post.messages()
    assert len(after) == 5
    assert before.items() <= after.items(), "none is marked as read, moved or changed"
    assert all(name.startswith("new/") for name in after)
    assert (row().last_uid, row().trouble, row().lease_until) == (5, "", None)


def test_what_was_there_for_years_is_left_alone(post: Dovecot, later: Any) -> None:
    now = datetime.now(UTC)
    ages = [900, 40, 3, 0.2, 500, 0]  # days; some were moved here from an older mailbox
    for n, days in enumerate(ages):
        post.deliver(letter(n), at=now - timedelta(days=days))
    assert mailbox.read_mailbox() == 2
    assert subjects() == ["Letter 3", "Letter 5"]
    post.deliver(letter(6))
    later(days=5)
    assert mailbox.read_mailbox() == 1


def test_starttls_and_names_that_are_not_ascii(post: Dovecot, settings: Any) -> None:
    settings.INBOX_URL = post.address(OTHER, OTHERS_PASSWORD, "imap+tls", host="localhost")
    post.deliver(letter(1), user=OTHER)
    assert mailbox.read_mailbox() == 1
    assert row().trouble == ""
    assert f"user=<{OTHER}>" in post.log
    assert "TLS, session" in post.log


@pytest.mark.parametrize("scheme", ["imaps", "imap+tls"])
@pytest.mark.parametrize(
    ("cert", "trusts_ours", "says"),
    [
        ("server", False, "self-signed certificate in certificate chain|unable to get local issuer"),
        ("stranger", True, "self-signed certificate"),
        ("other-host", True, "IP address mismatch"),
    ],
    ids=["an authority that nobody knows", "one that vouches for itself", "another host's"],
)
def test_a_certificate_that_cannot_be_trusted_gets_no_password(
    post: Dovecot, settings: Any, scheme: str, cert: str, trusts_ours: bool, says: str
) -> None:
    post.stop()
    post.configure(cert=cert)
    post.start()
    post.deliver(letter(1))
    settings.INBOX_URL = post.address(USER, PASSWORD, scheme)
    settings.INBOX_CA = post.ca if trusts_ours else ""
    assert mailbox.read_mailbox() == 0
    assert row().trouble.startswith("The certificate of 127.0.0.1 cannot be trusted, so the password was not")
    assert any(words in row().trouble for words in says.split("|")), row().trouble
    wait_for(lambda: "no auth attempts" in post.log, "the server says that nobody tried")
    assert "Login:" not in post.log


def test_a_server_that_offers_no_encryption_gets_no_password(post: Dovecot, settings: Any) -> None:
    post.stop()
    post.configure(extra="ssl = no\ndisable_plaintext_auth = no")
    post.start()
    settings.INBOX_URL = post.address(USER, PASSWORD, "imap+tls")
    assert mailbox.read_mailbox() == 0
    assert row().trouble.startswith("No encrypted line to 127.0.0.1 came about; the password was not sent.")
    wait_for(lambda: "no auth attempts" in post.log, "the server says that nobody tried")
    assert "Login:" not in post.log


def test_a_wrong_password_is_said_once_and_gone_when_it_is_right(
    post: Dovecot, settings: Any, later: Any, caplog: pytest.LogCaptureFixture
) -> None:
    settings.INBOX_URL = post.address(USER, "not the password")
    for _ in range(80):  # forty minutes of sweeps
        mailbox.read_mailbox()
        later(seconds=30)
    said = [one.getMessage() for one in caplog.records if one.name == "shopdesk.mail.mailbox"]
    assert len(said) == 1
    assert "does not take the user name and password" in said[0]
    assert "not the password" not in row().trouble + caplog.text
    assert post.log.count("auth failed") == 1
    trouble = queries.mailbox_trouble()
    assert trouble is not None
    assert trouble.trouble_since is not None
    post.deliver(letter(1))
    settings.INBOX_URL = post.url
    mailbox.try_now()
    assert mailbox.read_mailbox() == 1
    assert queries.mailbox_trouble() is None


def test_a_mailbox_that_is_not_there(post: Dovecot, settings: Any) -> None:
    settings.INBOX_URL = post.address(USER, PASSWORD, folder="Möbel")
    assert mailbox.read_mailbox() == 0
    assert row().trouble.startswith("127.0.0.1 has no mailbox Möbel that can be opened.")


def test_a_server_that_is_away_and_comes_back(post: Dovecot, later: Any) -> None:
    post.deliver(letter(1))
    post.stop()
    for _ in range(3):
        assert mailbox.read_mailbox() == 0
        later(minutes=10)
    assert row().trouble.startswith("127.0.0.1 does not answer on port")
    assert row().failures == 3
    post.start()
    assert mailbox.read_mailbox() == 1
    assert row().trouble == ""


def test_a_server_that_stops_in_mid_fetch(post: Dovecot, later: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    large = letter(2, body=os.urandom(4 * 1024 * 1024).hex().encode())
    for raw in (letter(1), large, letter(3)):
        post.deliver(raw)
    piece, pieces = inbox.Line._piece, []

    def stopping(self: inbox.Line, uid: int, start: int, length: int) -> bytes | None:
        pieces.append((uid, start))
        if len(pieces) == 5:
            post.stop()
        return piece(self, uid, start, length)

    monkeypatch.setattr(inbox.Line, "_piece", stopping)
    assert mailbox.read_mailbox() == 1
    assert pieces[-1] == (2, 3 * 1024 * 1024), "it was in the middle of the second message"
    assert row().trouble.startswith("The line to 127.0.0.1 broke while it was read.")
    assert (row().last_uid, row().lease_until) == (1, None)
    post.start()
    later(minutes=2)
    assert mailbox.read_mailbox() == 2
    assert [arrivals.raw_of(one)[-99:] for one in Arrival.objects.order_by("pk")][1] == large[-99:]
    assert subjects() == ["Letter 1", "Letter 2", "Letter 3"]
    assert row().trouble == ""


def test_numbered_anew_nothing_is_lost_or_doubled(post: Dovecot, later: Any) -> None:
    for n in (1, 2, 3):
        post.deliver(letter(n))
    assert mailbox.read_mailbox() == 3
    before = row().uidvalidity
    post.deliver(letter(4))
    post.stop()
    post.number_anew()
    post.start()
    later(minutes=1)
    assert mailbox.read_mailbox() == 1
    assert row().uidvalidity != before
    assert subjects() == ["Letter 1", "Letter 2", "Letter 3", "Letter 4"]
    assert row().last_uid == 4


def test_a_message_that_cannot_be_taken_in_is_named_in_the_tray(
    post: Dovecot, later: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def heard(raw: bytes) -> Any:
        if b"letter 1." in raw:
            raise RecursionError("parts within parts")
        return parse_email(raw)

    monkeypatch.setattr("shopdesk.mail.arrivals.heard", heard)
    post.deliver(letter(1, subject="=?utf-8?q?Schubl=C3=A4de?="))
    post.deliver(letter(2))
    for _ in range(6):
        assert not Arrival.objects.exists()
        mailbox.read_mailbox()
        later(hours=2)
    assert subjects() == ["Schubläde", "Letter 2"]
    one = Arrival.objects.order_by("pk")[0]
    assert (one.from_name, one.verdict) == ("Ottoline Brask <ottoline@example.com>", "tray")
    assert all(name.startswith("new/") for name in post.messages())


def test_three_hundred_messages(post: Dovecot) -> None:
    sent = [letter(n) for n in range(300)]
    for raw in sent:
        post.deliver(raw)
    read = mailbox.read_mailbox()
    while row().read_at is None:  # a slow machine takes more than one run
        read += mailbox.read_mailbox()
    assert read == 300
    assert [arrivals.raw_of(one) for one in Arrival.objects.order_by("pk")] == sent


def test_a_message_of_twenty_five_megabytes_is_taken_in_whole(post: Dovecot) -> None:
    large = letter(1, body=b"".join(b"%075d\r\n" % n for n in range(25 * 1024 * 1024 // 77)))
    assert len(large) > 24 * 1024 * 1024
    post.deliver(large)
    post.deliver(letter(2))
    assert mailbox.read_mailbox() == 2
    first = Arrival.objects.order_by("pk")[0]
    assert arrivals.raw_of(first) == large
    assert first.bytes == len(large)


def test_of_a_message_that_is_too_large_the_beginning_is_taken_in(post: Dovecot) -> None:
    huge = letter(
        1, body=b"Dear shop,\r\n" + b"".join(b"%075d\r\n" % n for n in range(41 * 1024 * 1024 // 77))
    )
    post.deliver(huge)
    post.deliver(letter(2))
    assert mailbox.read_mailbox() == 2
    first = Arrival.objects.order_by("pk")[0]
    raw = arrivals.raw_of(first)
    assert len(raw) == inbox.BEGINNING
    assert huge.startswith(raw)
    assert first.excerpt.startswith("Dear shop,")
    assert first.bytes == len(huge)
    assert "it has 41 MB and is whole in the mailbox" in arrivals.said_in(first).left_out[-1]
    assert len(post.messages()) == 2


def test_a_mailbox_that_is_nearly_full(post: Dovecot) -> None:
    size = QUOTA_MB * 1024 * 1024 * 19 // 20
    filler = letter(1, body=b"x" * 998 + b"\r\n")
    post.deliver(filler + b"y" * (size - len(filler)), at=datetime.now(UTC) - timedelta(days=90))
    post.deliver(letter(2))
    assert mailbox.read_mailbox() == 1
    assert row().full_percent == 95
    assert queries.mailbox_trouble() == row()


# -- killed again and again ----------------------------------------------------------------------------------

READER = """
import time
from datetime import timedelta
import django
django.setup()
from django.conf import settings
from pathlib import Path
from shopdesk.mail import mailbox
mailbox.LEASE = timedelta(seconds=1.5)  # the real one is minutes: nobody waits that long for a test
mailbox.EVERY = 0
while True:
    mailbox.read_mailbox()
    time.sleep(0.05)
"""
MESSAGES = 120
KILLS = 4


def reader(post: Dovecot, var: Path) -> subprocess.Popen[bytes]:
    told = {
        "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
        "DATABASE_URL": this_database(),
        "INBOX_URL": post.url,
        "INBOX_CA": post.ca,
        "LOG_LEVEL": "ERROR",
    }
    return subprocess.Popen([sys.executable, "-c", READER], cwd=ROOT, env=environment(var, told))


@pytest.mark.django_db(transaction=True)
def test_killed_again_and_again_every_message_is_there_once(
    post: Dovecot, tmp_path: Path, settings: Any
) -> None:
    sent = [letter(n) for n in range(MESSAGES)]
    for raw in sent:
        post.deliver(raw)
    var = tmp_path / "var"
    settings.ARRIVALS = var / "arrivals"
    half_way = 0
    for round_ in range(1, KILLS + 2):
        process = reader(post, var)
        wanted = MESSAGES if round_ > KILLS else round_ * MESSAGES // (KILLS + 2)
        try:
            wait_for(lambda wanted=wanted: Arrival.objects.count() >= wanted, f"{wanted} messages", 60)  # type: ignore[misc]
            if round_ > KILLS:
                wait_for(lambda: row().read_at is not None, "read to the end", 30)
            assert process.poll() is None, "the reader ended by itself"
        finally:
            process.send_signal(signal.SIGKILL)
            process.wait(10)
        half_way += row().lease_until is not None
    assert half_way >= KILLS - 1, "the kills hit a reader at work"
    assert [arrivals.raw_of(one) for one in Arrival.objects.order_by("uid")] == sent
    assert Arrival.objects.count() == MESSAGES
    assert set(Arrival.objects.values_list("path", flat=True)) <= {
        f"{path.parent.name}/{path.name}" for path in settings.ARRIVALS.glob("*/*")
    }
    assert all(name.startswith("new/") for name in post.messages())


@pytest.mark.django_db(transaction=True)
def test_two_readers_at_once_share_without_doubling(post: Dovecot, tmp_path: Path, settings: Any) -> None:
    var = tmp_path / "var"
    settings.ARRIVALS = var / "arrivals"
    readers = [reader(post, var) for _ in range(2)]
    sent = [letter(n) for n in range(60)]
    try:
        for raw in sent:
            post.deliver(raw)
            time.sleep(0.02)
        wait_for(lambda: Arrival.objects.count() >= len(sent), "all are there", 60)
        assert [process.poll() for process in readers] == [None, None]
    finally:
        for process in readers:
            process.send_signal(signal.SIGKILL)
            process.wait(10)
    assert [arrivals.raw_of(one) for one in Arrival.objects.order_by("uid")] == sent
    assert len(list(settings.ARRIVALS.glob("*/*.eml"))) == len(sent)


# -- in a shop that runs -------------------------------------------------------------------------------------


def test_a_shop_that_is_served_reads_its_mailbox(dovecot: Dovecot, tmp_path: Path) -> None:
    var = tmp_path / "var"
    var.mkdir()
    told = {"INBOX_URL": dovecot.url, "INBOX_CA": dovecot.ca, "SWEEP_SECONDS": "1", "DATABASE_URL": ""}

    def found() -> list[tuple[str, str]]:
        with closing(sqlite3.connect(f"file:{var}/shop.sqlite3?mode=ro", uri=True)) as database:
            return list(database.execute("SELECT subject, verdict FROM mail_arrival ORDER BY id"))

    with Served(var, "--port", "0", **told) as served:
        served.until_up()
        dovecot.deliver(letter(1))
        wait_for(lambda: found() == [("Letter 1", "tray")], "the message waits in the tray", 40)
        dovecot.deliver(letter(2))
        wait_for(lambda: len(found()) == 2, "the second is there as well", 20)
        assert served.stop() == 0
    assert PASSWORD not in served.printed
    assert all(name.startswith("new/") for name in dovecot.messages())
