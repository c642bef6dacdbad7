"""From a row of the outbox to the message that is handed over: RFC 5322 and MIME, RFC 3834 for
`Auto-Submitted`, RFC 6047 for calendar files."""

from __future__ import annotations

import base64
import re
from email.utils import format_datetime, formataddr
from typing import Any

from django.core.mail import EmailMultiAlternatives
from django.utils.encoding import punycode

from shopdesk.base import blobs
from shopdesk.mail import links
from shopdesk.mail.models import Email, Enclosure


class BadAddress(Exception):
    """An address that no email can be handed over for; the text says why."""


class DeadLink(Exception):
    """A link in the words leads nowhere any more."""


def message(email: Email) -> EmailMultiAlternatives:
    """The message of an email whose words are made, with real links in it: handed over and then forgotten.

    The same at every try, Message-ID and Date included. Raises `BadAddress`, `DeadLink`, `blobs.NotYet` or
    `blobs.Gone`.
    """
    assert email.worded_at is not None, "the words are made and kept before an email is handed over"
    sender, recipient = _address(email.from_address), _address(email.to_address)
    headers = {
        "From": _mailbox(email.from_name, sender),
        "To": _mailbox(email.to_name, recipient),
        "Reply-To": _mailbox(email.from_name, sender),
        "Message-ID": email.message_id,
        "Date": format_datetime(email.worded_at),
        "Auto-Submitted": "auto-generated",
    }
    if email.in_reply_to:
        headers["In-Reply-To"] = email.in_reply_to
        headers["References"] = email.references
    try:
        text, html = links.put_in(email.text), links.put_into_html(email.html)
    except (LookupError, ValueError) as error:
        raise DeadLink("The link in it leads nowhere any more.") from error
    letter = _Letter(
        subject=email.subject,
        body=text,
        from_email=sender,
        to=[recipient],
        reply_to=[sender],
        headers=headers,
    )
    letter.attach_alternative(html, "text/html")
    for enclosure in email.enclosures.order_by("id"):
        _enclose(letter, enclosure)
    return letter


def _enclose(letter: EmailMultiAlternatives, enclosure: Enclosure) -> None:
    filename = re.sub(r'[\x00-\x1f\x7f/\\"]+', "-", enclosure.filename)
    if enclosure.ref:
        blob = blobs.fetch(enclosure.ref)
        letter.attach(filename, blob.data, enclosure.mime or blob.mime)
    elif enclosure.mime.startswith("text/calendar"):
        # An invitation is another way to say what the email says, which is where calendars look for it; and
        # a file for whoever opens it by hand, of a type that no calendar takes up a second time.
        letter.attach_alternative(enclosure.text, enclosure.mime)
        letter.attach(filename, enclosure.text.encode(), "application/ics")
    else:
        letter.attach(filename, enclosure.text, enclosure.mime)


class _Letter(EmailMultiAlternatives):
    """A letter with encoded words and lines as short as RFC 2047 wants them; Django's are not always."""

    def message(self, **kwargs: Any) -> Any:
        made = super().message(**kwargs)
        made.replace_header("Subject", _encoded(str(self.subject)))
        made.policy = made.policy.clone(max_line_length=76)
        return made


def _mailbox(name: str, address: str) -> str:
    """`Ottoline Brask <ottoline@example.com>`"""
    return formataddr((name, address)) if name.isascii() else f"{_encoded(name)} <{address}>"


def _encoded(text: str) -> str:
    """Text for a header field. Outside ASCII it becomes encoded words, each of whole characters and at most
    64 long, so that one fits on a line of 76 with the field's name (RFC 2047, section 2)."""
    if text.isascii():
        return text
    chunks = [b""]
    for char in text:
        if len(chunks[-1]) + len(char.encode()) > 39:
            chunks.append(b"")
        chunks[-1] += char.encode()
    return " ".join(f"=?utf-8?b?{base64.b64encode(chunk).decode()}?=" for chunk in chunks)


def _address(address: str) -> str:
    local, at, domain = address.rpartition("@")
    if not at or not local or not domain or re.search(r"[\s\x00-\x1f\x7f<>,;]", address):
        raise BadAddress(f"“{address}” is not an email address.")
    if not local.isascii():
        raise BadAddress(f"“{address}” has letters before the @ that mail servers do not take.")
    return f"{local}@{punycode(domain)}"
