"""Mail as files, for a shop without a mail server: one .eml each, which any mail program opens."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from datetime import UTC
from email.generator import BytesGenerator
from email.message import Message
from email.utils import parsedate_to_datetime
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.utils import timezone
from django.utils.text import slugify

from shopdesk.base.files import put


class EmlFiles(BaseEmailBackend):
    """Writes each message whole or not at all, readable by the shop alone: it holds links that let people in.
    The same message twice is one file."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        folder = Path(settings.MAIL_FOLDER)
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        for email in email_messages:
            made = email.message()
            written = io.BytesIO()
            BytesGenerator(written, mangle_from_=False).flatten(made, linesep="\r\n")
            put(folder / file_name(str(email.subject), made), written.getvalue())
        return len(email_messages)


def file_name(subject: str, made: Message) -> str:
    """20261125T074512Z-we-have-your-request-3f9a1c04.eml: when it was made, what about, and its own mark."""
    try:
        at = parsedate_to_datetime(str(made["Date"])).astimezone(UTC)
    except ValueError:
        at = timezone.now()
    mark = hashlib.sha256(str(made["Message-ID"]).encode()).hexdigest()[:8]
    return f"{at:%Y%m%dT%H%M%SZ}-{slugify(subject)[:60].strip('-') or 'email'}-{mark}.eml"
