"""From a row of the outbox to the message that is handed over: RFC 5322 and MIME, RFC 3834 for
`Auto-Submitted`, RFC 2369 and RFC 8058 for how to stop its kind, RFC 6047 for calendar files, RFC 2387 and
RFC 2392 for pictures within it.

    mixed( alternative( text, related( HTML, pictures ), calendar ), attachments )

with each of the outer ones only where there is something for it."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, field
from email.utils import format_datetime
from typing import Any

from django.core.mail import EmailMultiAlternatives
from django.db.models import QuerySet
from django.utils.encoding import punycode

from shopdesk.base import blobs
from shopdesk.mail import frame, links, mime
from shopdesk.mail.models import Email, Enclosure

PICTURE_BYTES = 1_000_000
"""All pictures of a message together. What is more is on the page that it links to."""


class BadAddress(Exception):
    """An address that no email can be handed over for; the text says why."""


class DeadLink(Exception):
    """A link in the words leads nowhere any more."""


def message(email: Email, written: dict[str, str] | None = None) -> Letter:
    """The message of an email whose words are made, with real links in it: handed over and then forgotten.
    Links that are `written` already are not asked for again.

    The same bytes at every try. With it goes what the emails bundled in it carry. A picture that is gone is
    left out. Raises `BadAddress`, `DeadLink`, `blobs.NotYet`, or `blobs.Gone` for a document.
    """
    assert email.worded_at is not None, "the words are made and kept before an email is handed over"
    sender, recipient = _address(email.from_address), _address(email.to_address)
    carried = _carried(email)
    text, html = email.text, email.html
    for lost in carried.lost:
        html, text = frame.without_picture(html, lost.cid), frame.without_line(text, lost.says)
    try:
        written = {} if written is None else written
        text, html = links.put_in(text, written), links.put_into_html(html, written)
        stop = links.put_in(email.stop, written)
    except (LookupError, ValueError) as error:
        raise DeadLink("The link in it leads nowhere any more.") from error
    headers = {
        "From": mime.mailbox(email.from_name, sender),
        "To": mime.mailbox(email.to_name, recipient),
        "Reply-To": mime.mailbox(email.from_name, _address(email.reply_to) if email.reply_to else sender),
        "Message-ID": email.message_id,
        "Date": format_datetime(email.worded_at),
    }
    if email.in_reply_to:
        headers["In-Reply-To"] = email.in_reply_to
        headers["References"] = email.references
    if not _by_a_person(email):
        headers["Auto-Submitted"] = "auto-generated"
    if stop:
        headers["List-Unsubscribe"] = f"<{stop}>"
        if stop.startswith("https:"):  # RFC 8058, section 3.1, allows no other
            headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    letter = Letter(
        subject=mime.one_line(email.subject),
        body=text,
        from_email=sender,
        to=[recipient],
        reply_to=[email.reply_to or sender],
        headers=headers,
    )
    letter.pictures = carried.pictures
    letter.attach_alternative(html, "text/html")
    for calendar in carried.calendars:
        # An invitation is another way to say what the email says, which is where calendars look for it; and
        # a file for whoever opens it by hand, of a type that no calendar takes up a second time.
        letter.attach_alternative(calendar.text, calendar.mime)
    letter.attachments = carried.attachments
    return letter


def _by_a_person(email: Email) -> bool:
    """Whether somebody at the shop wrote it to somebody else: a person's message is no automatic one."""
    return email.sort == Email.Sort.ANSWER and email.to_address.lower() != email.from_address.lower()


# -- what it carries -----------------------------------------------------------------------------------------


@dataclass
class _Carried:
    pictures: list[tuple[Enclosure, blobs.Blob]] = field(default_factory=list)
    calendars: list[Enclosure] = field(default_factory=list)
    attachments: list[Any] = field(default_factory=list)
    lost: list[Enclosure] = field(default_factory=list)
    """Pictures that cannot be shown."""


def enclosures_of(email: Email) -> QuerySet[Enclosure]:
    """What an email carries, and what those carry whose words went into it."""
    together = [email.pk]
    if email.carries and email.worded_at is not None:
        together += Email.objects.filter(bundle=email.pk, worded_at=email.worded_at).values_list(
            "pk", flat=True
        )
    return Enclosure.objects.filter(email__in=together).order_by("email_id", "id")


def _carried(email: Email) -> _Carried:
    carried, seen, left = _Carried(), set(), PICTURE_BYTES
    # Those of an email that goes alone may have been fetched with it.
    rows = enclosures_of(email) if email.carries else sorted(email.enclosures.all(), key=lambda one: one.pk)
    for row in rows:
        same = (row.cid or row.filename, row.ref, row.text)
        if same in seen:  # bundled emails may carry the same
            continue
        seen.add(same)
        if not row.ref:
            if row.mime.startswith("text/calendar"):
                carried.calendars.append(row)
                carried.attachments.append((row.filename, row.text.encode(), "application/ics"))
            else:
                carried.attachments.append((row.filename, row.text, row.mime))
            continue
        try:
            blob = blobs.fetch(row.ref)
        except blobs.Gone:
            if not row.cid:
                raise
            carried.lost.append(row)
            continue
        if not row.cid:
            carried.attachments.append((row.filename, blob.data, row.mime or blob.mime))
        elif len(blob.data) <= left:
            left -= len(blob.data)
            carried.pictures.append((row, blob))
        else:
            carried.lost.append(row)
    return carried


class Letter(EmailMultiAlternatives):
    """What Django's mail backends are given. Its parts are to be read; `message` writes them out."""

    pictures: list[tuple[Enclosure, blobs.Blob]]

    @property
    def international(self) -> bool:
        """Whether an address in it needs a server that takes such (RFC 6531)."""
        return not all(value.isascii() for value in self.extra_headers.values())

    def message(self, **kwargs: Any) -> mime.Part:  # type: ignore[override]  # as much of one as Django uses
        mark = self.extra_headers["Message-ID"]
        (html, _), *others = self.alternatives
        shown = mime.text(str(html), "text/html")
        if self.pictures:
            within = [shown, *(_inline(row, blob) for row, blob in self.pictures)]
            shown = mime.multipart("related", within, mark, type="text/html")
        said = [mime.text(str(self.body), "text/plain"), shown]
        said += [mime.text(str(other), str(content_type)) for other, content_type in others]
        made = mime.multipart("alternative", said, mark)
        if self.attachments:
            made = mime.multipart("mixed", [made, *(_attached(*one) for one in self.attachments)], mark)
        made["MIME-Version"] = "1.0"
        made["Subject"] = mime.encoded(str(self.subject))
        for name, value in self.extra_headers.items():
            made[name] = value
        return made


def _inline(row: Enclosure, blob: blobs.Blob) -> mime.Part:
    return mime.data(
        blob.data, blob.mime, ("Content-ID", f"<{row.cid}>"), mime.disposition("inline", row.filename)
    )


def _attached(filename: str, content: bytes | str, content_type: str) -> mime.Part:
    field = mime.disposition("attachment", filename)
    if isinstance(content, str):
        return mime.text(content, content_type, field)
    return mime.data(content, content_type, field)


# -- addresses -----------------------------------------------------------------------------------------------


def _address(address: str) -> str:
    """The address with its domain in ASCII. What stands before the @ may be in any script (RFC 6531): whether
    it can be sent is for the mail server to say."""
    local, at, domain = address.rpartition("@")
    odd = any(unicodedata.category(char)[0] in "CZ" for char in address)
    if not at or not local or not domain or odd or re.search(r"[<>,;]", address):
        raise BadAddress(f"“{mime.one_line(address)}” is not an email address.")
    try:
        return f"{local}@{punycode(domain)}"
    except UnicodeError as error:
        raise BadAddress(f"“{mime.one_line(address)}” is not an email address.") from error
