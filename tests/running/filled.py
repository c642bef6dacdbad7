"""A shop with something of everything that is hard to carry, and ways to look at it without Shopdesk's own
code."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psycopg
from django.db import connection

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Shot
from shopdesk.conversation.models import Message
from shopdesk.deposits.actions import record_payment, reverse
from shopdesk.deposits.models import Account
from shopdesk.intake.models import Draft
from shopdesk.mail.arrivals import take_in as keep_email
from shopdesk.mail.models import Arrival, Mailbox
from shopdesk.photos.actions import take_in
from shopdesk.running.testing import postgres_url
from tests.conftest import MakePicture

NOT_OURS = {"django_migrations", "sqlite_sequence"}
"""The first says when, the second is checked on its own."""


def fill(commission: Commission, owner: Who, picture_file: MakePicture, work: Callable[[], None]) -> None:
    """Pictures with renditions and one that is not prepared yet, emails that came in, receipts, a reversal,
    JSON, keys between tables, moments to the microsecond, letters of many alphabets."""
    shots = [
        Shot.objects.create(
            commission=commission, picture=take_in(picture_file(name), name), kind=Shot.Kind.REQUEST
        )
        for name in ("front.jpg", "Schubl\u00e4de \U0001fa91.jpg")
    ]
    said = Message.objects.create(
        commission=commission,
        by_client=True,
        text='Линия one\nline \u4e8c\t"quoted" \\ and \u2028 that’s it',
        at=datetime(2026, 2, 3, 4, 5, 6, 789012, tzinfo=UTC),
    )
    said.shots.set(shots)
    Account.objects.create(
        commission=commission,
        currency="USD",
        price=Decimal("1234.5600"),
        deposit=Decimal("617.28"),
        deposit_due_on=date(2026, 2, 3),
    )
    wrong = record_payment(commission, Decimal("100.10"), date(2026, 2, 3), "cash", "", owner)
    reverse(wrong, "It was the other client’s.", owner)
    box = Mailbox.objects.create(name="hello@mail.example.com/INBOX", uidvalidity=2**32 - 1, last_uid=2)
    keep_email(b"From: a@example.com\r\nSubject: =?utf-8?q?Schubl=C3=A4de?=\r\n\r\n\xff\0 as it came\r\n")
    Arrival.objects.create(
        mailbox=box, uid=2, bytes=0, state="done", verdict="tray", why="Left where it was."
    )
    work()
    take_in(picture_file("late.jpg"), "late.jpg")
    Draft.objects.create(typed={"wish": "its “old” warmth", "pieces": 2, "nested": [None, True, 1.5]})
    Draft.objects.create().delete()  # its number is not given out again


def address_of_database() -> str:
    """Where the test's own database is: a path, or an address for psycopg."""
    if connection.vendor == "sqlite":
        return str(connection.settings_dict["NAME"])
    return postgres_url().rpartition("/")[0] + "/" + quote(str(connection.settings_dict["NAME"]))


def all_rows(database: str) -> dict[str, list[tuple[Any, ...]]]:
    """Table → its rows as the database has them, in order."""
    if not database.startswith("postgres"):
        plain = sqlite3.connect(f"file:{database}?mode=ro", uri=True)
        try:
            tables = [row[0] for row in plain.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            return {
                name: sorted(plain.execute(f'SELECT * FROM "{name}"'), key=repr) for name in _ours(tables)
            }
        finally:
            plain.close()
    with psycopg.connect(database) as server:
        found = server.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        return {
            name: sorted(server.execute(f'SELECT * FROM "{name}"'.encode()).fetchall(), key=repr)
            for name in _ours([row[0] for row in found])
        }


def _ours(tables: list[str]) -> list[str]:
    return [name for name in tables if name not in NOT_OURS]


def all_files(*folders: Path) -> dict[str, bytes]:
    """What lies in the folders, by folder and path."""
    return {
        f"{folder.name}/{path.relative_to(folder)}": path.read_bytes()
        for folder in folders
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
