"""Emails from outside, as a mailbox would hand them over."""

from __future__ import annotations

from collections.abc import Callable
from email.message import EmailMessage
from typing import Any

import pytest

from shopdesk.conversation import post
from shopdesk.mail import arrivals
from shopdesk.mail.models import Arrival, Email

INBOX = "hello+{tag}@tidewell.example.com"
Letter = Callable[..., EmailMessage]
Arrive = Callable[..., Arrival]


@pytest.fixture
def inbox(settings: Any) -> None:
    settings.INBOX_ADDRESS = INBOX


@pytest.fixture
def letter(inbox: None) -> Letter:
    """`letter("Yes.", to=…, sender=…, answers=email, pictures=[…], headers={…})` → a message from outside,
    made by the standard library."""
    count = 0

    def make(
        words: str = "Yes, do.",
        *,
        to: str = "hello@tidewell.example.com",
        sender: str = "Ottoline Brask <ottoline@example.com>",
        subject: str = "Re: About your desk",
        answers: Email | None = None,
        headers: dict[str, str] | None = None,
        attached: list[tuple[str, str, bytes]] | None = None,
    ) -> EmailMessage:
        nonlocal count
        count += 1
        made = EmailMessage()
        made["From"], made["To"], made["Subject"] = sender, to, subject
        made["Date"] = "Wed, 25 Nov 2026 10:00:00 -0500"
        made["Message-ID"] = f"<{count}.{id(make)}@mail.example.com>"
        if answers is not None:
            made["In-Reply-To"] = answers.message_id
            made["References"] = f"{answers.references} {answers.message_id}".strip()
        for name, value in (headers or {}).items():
            del made[name]
            made[name] = value
        made.set_content(words)
        for filename, mime, data in attached or []:
            main, _, sub = mime.partition("/")
            made.add_attachment(data, maintype=main, subtype=sub, filename=filename)
        return made

    return make


@pytest.fixture
def arrive(letter: Letter) -> Arrive:
    """Take in a message made by `letter`, look at it, and return its row as it is then."""

    def take(*args: Any, **kwargs: Any) -> Arrival:
        return came(letter(*args, **kwargs).as_bytes())

    return take


def came(raw: bytes) -> Arrival:
    arrival = arrivals.take_in(raw)
    assert arrival is not None
    post.place_all()
    arrival.refresh_from_db()
    return arrival


def dsn(email: Email, status: str = "5.1.1", action: str = "failed", **changed: str) -> bytes:
    """A delivery status notification laid out as the first example of RFC 3464, appendix E."""
    said = {
        "diagnostic": "550 5.1.1 no such user here",
        "message_id": email.message_id,
        "recipient": email.to_address,
        **changed,
    }
    return f"""\
From: Mail Delivery Subsystem <mailer-daemon@mail.example.com>
To: <{email.from_address}>
Subject: Returned mail
Message-ID: <dsn-{email.pk}-{action}-{status}@mail.example.com>
Date: Wed, 25 Nov 2026 15:00:00 +0000
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="RAA14128"

--RAA14128

The original message was received and could not be delivered.

--RAA14128
Content-Type: message/delivery-status

Reporting-MTA: dns; mail.example.com

Final-Recipient: RFC822;{said["recipient"]}
Action: {action}
Status: {status}
Diagnostic-Code: smtp; {said["diagnostic"]}

--RAA14128
Content-Type: message/rfc822

From: <{email.from_address}>
To: <{email.to_address}>
Subject: About your desk
Message-ID: {said["message_id"]}

The words that went out.

--RAA14128--
""".replace("\n", "\r\n").encode()
