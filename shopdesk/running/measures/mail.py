"""How fast emails go out, against `smtplib` alone; and whether finding the next one takes longer in a shop
that has written many."""

from __future__ import annotations

import smtplib
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from email.message import Message
from typing import Any

from django.db import connection, transaction
from django.test.utils import override_settings
from django.utils import timezone

from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission
from shopdesk.mail import bundles, claims
from shopdesk.mail.delivery import LEASE, deliver_all
from shopdesk.mail.message import message
from shopdesk.mail.models import Email, Turn
from shopdesk.running.measures.sink import sink
from shopdesk.running.measures.timing import Ratio, in_turn
from shopdesk.shop.models import Shop

SHARE = {"sqlite": 0.35, "postgresql": 0.2}
"""Of the bare loop's emails a second, at least so many."""
FLAT = 1.5
"""A claim may take so many times as long where there are two hundred times as many emails: what a cache
that is colder makes of the same work, and no more."""
_WORDS = "A letter of some length, as they are. " * 20


@dataclass(frozen=True)
class Rate:
    """Emails a second: the shop's and the bare loop's, and the goal for the one over the other."""

    what: str
    app: float
    bare: float
    goal: float

    @property
    def share(self) -> float:
        return self.app / self.bare

    @property
    def ok(self) -> bool:
        return self.share >= self.goal


def measure(commission: Commission, *, emails: int, rounds: int) -> Rate:
    """One worker's part, from the row to its mark (claiming, wording, building, handing over), with `emails`
    in line; ÷ one `smtplib` connection that is handed the same messages, made before."""
    with sink() as port, override_settings(**_smtp(port)):
        _write(commission, emails)
        deliver_all()
        sent = Email.objects.order_by("-pk")[:emails]
        made = [message(email).message() for email in sent]
        if any(email.state != Email.State.DONE for email in sent):
            raise AssertionError("Not every email went out.")
        timed = in_turn(
            "emails",
            deliver_all,
            lambda: bare(made, port),
            goal=1 / SHARE[connection.vendor],
            rounds=rounds,
            between=lambda: _write(commission, emails),
        )
    in_line = Email.objects.filter(way=Email.Way.EMAIL, state=Email.State.WAITING)
    if in_line.filter(due_at__lte=timezone.now()).exists():
        raise AssertionError("Emails were left in line.")
    return Rate("emails a second", emails / timed.app, emails / timed.bare, SHARE[connection.vendor])


def bare(messages: Sequence[Message], port: int) -> None:
    """The same messages through one connection, by the standard library alone."""
    with smtplib.SMTP("127.0.0.1", port) as line:
        for one in messages:
            line.send_message(one)


def claim(*, few: int, many: int, rounds: int) -> Ratio:
    """Finding and taking what is next in a table of `many` emails ÷ in one of `few`. Nine of ten of them have
    gone out, the tenth waits for a later day; a handful is due."""
    Shop.objects.update(quiet_from=time(0), quiet_until=time(0))  # the same is asked at every hour
    _line_up()
    took: list[float] = []
    for rows in (few, many):
        _fill(rows - Email.objects.count())
        timed = in_turn("claim", look, lambda: None, goal=0, rounds=rounds, between=_put_back)
        took.append(timed.app)
        _put_back()
    return Ratio(f"a claim among {many:,}", took[1], took[0], FLAT)


def look() -> None:
    """All that a worker's run asks for, however short: what somebody left, what is due, and what may go as
    the day's one to an address."""
    if claims.abandoned(LEASE):
        raise AssertionError("There was an email that somebody left.")
    if not (claims.due(1, LEASE) and bundles.next_one(LEASE)):
        raise AssertionError("There was no email to claim.")


def _smtp(port: int) -> dict[str, object]:
    return {
        "EMAIL_BACKEND": "shopdesk.mail.smtp.Smtp",
        "EMAIL_HOST": "127.0.0.1",
        "EMAIL_PORT": port,
        "EMAIL_HOST_USER": "",
        "EMAIL_HOST_PASSWORD": "",
        "EMAIL_USE_TLS": False,
        "EMAIL_USE_SSL": False,
    }


def _write(commission: Commission, emails: int) -> None:
    with transaction.atomic():
        for number in range(emails):
            text = f"The {number}th word about it: the board is dry, and both drawers run again."
            to_client(commission, "question", {"text": text, "items": [{"text": text, "pictures": 0}]})


def _put_back() -> None:
    under_way = Email.objects.filter(state=Email.State.UNDER_WAY)
    Turn.objects.filter(email__in=under_way).delete()
    under_way.update(state=Email.State.WAITING, lease=None, lease_until=None, tries=0)


def _line_up() -> None:
    """Twenty that are due: ten answers, and ten that take the day's turn."""
    due = timezone.now() - timedelta(minutes=1)
    Email.objects.bulk_create(_row(number, due, can_wait=number % 2 == 0) for number in range(20))


def _fill(rows: int) -> None:
    """So many more emails, of long ago and of later."""
    now = timezone.now()

    def row(number: int) -> Email:
        if number % 10:
            return _row(number, now, state=Email.State.DONE, text=_WORDS, html=_WORDS)
        return _row(number, now + timedelta(days=1), can_wait=number % 20 == 0)

    for first in range(0, rows, 5_000):
        Email.objects.bulk_create(row(number) for number in range(first, min(first + 5_000, rows)))
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")  # as PostgreSQL does by itself, a minute later


def _row(number: int, due_at: datetime, *, can_wait: bool = False, **values: Any) -> Email:
    return Email(
        kind="progress" if can_wait else "question",
        sort=Email.Sort.NEWS if can_wait else Email.Sort.ANSWER,
        can_wait=can_wait,
        due_at=due_at,
        message_id=f"<{uuid.uuid4()}@measure.example.com>",
        to_address=f"person{number}@example.com",
        from_address="hello@tidewell.example.com",
        **values,
    )
