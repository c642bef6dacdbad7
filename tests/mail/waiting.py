"""Emails that can wait, in a shop with quiet hours: fixtures and what one asks of them."""

from __future__ import annotations

import smtplib
from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from shopdesk.mail import holding, still
from shopdesk.mail.actions import Person
from shopdesk.mail.delivery import deliver_all
from shopdesk.mail.holding import Hours
from shopdesk.mail.models import Email

NEW_YORK = ZoneInfo("America/New_York")
NIGHT = Hours(NEW_YORK, time(20), time(8))
UNWANTED = smtplib.SMTPDataError(550, b"5.7.1 not wanted")
FULL_FOR_NOW = smtplib.SMTPRecipientsRefused({"x": (452, b"mailbox full")})
DROPPED = smtplib.SMTPServerDisconnected("Connection unexpectedly closed")


def wall_is_quiet(moment: datetime, hours: Hours) -> bool:
    at = moment.astimezone(hours.zone).time()
    begin, end = hours.quiet_from, hours.quiet_until
    if begin == end:
        return False
    return begin <= at < end if begin < end else at >= begin or at < end


ZOE = Person("Zoë Åkesson", "zoe@example.com")


@pytest.fixture
def news(note: Any, monkeypatch: Any) -> Any:
    """Writes an email that can wait. The shop is in New York and quiet from 20:00 to 8:00; the clock begins
    at 10:00 there."""
    monkeypatch.setattr(holding, "_read", [lambda: NIGHT])

    def make(sort: str = "news", can_wait: bool = True, **rest: Any) -> Email:
        email: Email = note(**rest)
        Email.objects.filter(pk=email.pk).update(sort=sort, can_wait=can_wait)
        email.refresh_from_db()
        return email

    return make


@pytest.fixture
def needed(monkeypatch: Any) -> set[int]:
    """The ids of emails of kind "note" that are not needed any more."""
    idle: set[int] = set()
    monkeypatch.setitem(still._checks, "note", lambda email: email.pk not in idle)
    return idle


def fresh(email: Email) -> Email:
    return Email.objects.get(pk=email.pk)


def states(*emails: Email) -> list[str]:
    return [fresh(email).state for email in emails]


def bundle_of(news: Any, clock: Any, count: int) -> list[Email]:
    """So many emails to one address that are due together on the next morning."""
    clock.to(2026, 11, 26, 3, 0)
    emails = [news(what=f"piece {n}", thread=f"commission {n}") for n in range(count)]
    deliver_all()
    clock.to(2026, 11, 26, 13, 0)
    return emails
