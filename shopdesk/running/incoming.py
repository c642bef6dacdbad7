"""Emails as they come into the demo shop's mailbox: an answer, one that came back, one from a stranger."""

from __future__ import annotations

from datetime import datetime
from email.message import EmailMessage, Message, MIMEPart
from email.policy import SMTP
from email.utils import format_datetime, formataddr

from shopdesk.mail.models import Email


def _letter(name: str, address: str, to: str, subject: str, at: datetime) -> EmailMessage:
    letter = EmailMessage(policy=SMTP)
    letter["From"] = formataddr((name, address))
    letter["To"] = to
    letter["Subject"] = subject
    letter["Date"] = format_datetime(at)
    letter["Message-ID"] = f"<{at:%Y%m%d%H%M%S}.{address}>"
    return letter


def answer(to: Email, words: str, at: datetime) -> bytes:
    """The answer to an email as a mail program writes it, with what it answers quoted below."""
    letter = _letter(
        to.to_name,
        to.to_address,
        to.reply_to or to.from_address,
        f"Re: {to.subject.removeprefix('Re: ')}",
        at,
    )
    letter["In-Reply-To"] = to.message_id
    letter["References"] = f"{to.references} {to.message_id}".strip()
    quoted = "\n".join(f"> {line}".rstrip() for line in to.text.splitlines())
    letter.set_content(f"{words}\n\nOn {at:%d %b %Y} {to.from_name} <{to.from_address}> wrote:\n{quoted}\n")
    return letter.as_bytes()


def returned(email: Email, at: datetime) -> bytes:
    """What a mail server says of an email to an address that it does not know (RFC 3464)."""
    letter = _letter(
        "Mail Delivery System",
        "mailer-daemon@mx.example.com",
        email.from_address,
        "Undelivered mail returned to sender",
        at,
    )
    letter["Auto-Submitted"] = "auto-replied"
    letter.make_mixed()
    letter.set_type("multipart/report")
    letter.set_param("report-type", "delivery-status")
    words = MIMEPart(policy=SMTP)
    words.set_content(f"Your email could not be delivered.\n\n<{email.to_address}>: no such mailbox here\n")
    server, recipient = Message(policy=SMTP), Message(policy=SMTP)
    server["Reporting-MTA"] = "dns; mx.example.com"
    recipient["Final-Recipient"] = f"rfc822; {email.to_address}"
    recipient["Action"], recipient["Status"] = "failed", "5.1.1"
    recipient["Diagnostic-Code"] = "smtp; 550 5.1.1 no such mailbox here"
    status = Message(policy=SMTP)
    status["Content-Type"] = "message/delivery-status"
    status.set_payload([server, recipient])
    head = MIMEPart(policy=SMTP)
    head.set_content(f"Message-ID: {email.message_id}\nTo: {email.to_address}\n", subtype="rfc822-headers")
    letter.set_payload([words, status, head])
    return letter.as_bytes()


def stranger(name: str, address: str, to: str, subject: str, words: str, at: datetime) -> bytes:
    letter = _letter(name, address, to, subject, at)
    letter.set_content(f"{words}\n")
    return letter.as_bytes()
