"""From the bytes of an email that arrived to what was heard: who wrote, what they wrote now, and the pictures."""

from __future__ import annotations

import email
import email.policy
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import getaddresses, parsedate_to_datetime

from shopdesk.mail.actions import clean_name
from shopdesk.mail.bounces import Bounce

__all__ = ["Bounce", "Heard", "Part", "heard"]


@dataclass(frozen=True)
class Part:
    name: str
    mime: str
    data: bytes


@dataclass(frozen=True)
class Heard:
    """An email as far as the shop is concerned. Everything in it is text for people: decoded, without control
    characters or marks that turn the reading direction."""

    message_id: str
    in_reply_to: tuple[str, ...]
    references: tuple[str, ...]
    from_name: str
    from_address: str
    to: tuple[str, ...]
    subject: str
    sent_at: datetime | None
    words: str
    quoted: str
    pictures: tuple[Part, ...]
    left_out: tuple[str, ...]
    automatic: str
    bounce: Bounce | None


def heard(raw: bytes) -> Heard:
    """What an email says. Never raises, whatever the bytes are."""
    made = email.message_from_bytes(raw, policy=email.policy.compat32)
    name, address = (getaddresses([str(made.get("From", ""))]) or [("", "")])[0]
    to = getaddresses([str(v) for f in ("To", "Cc", "Delivered-To") for v in made.get_all(f, [])])
    words = ""
    for part in made.walk():
        payload = part.get_payload(decode=True)
        if part.get_content_type() == "text/plain" and isinstance(payload, bytes):
            words = payload.decode("utf-8", "replace").strip()
            break
    try:
        sent_at = parsedate_to_datetime(str(made["Date"])).astimezone(UTC)
    except (TypeError, ValueError):
        sent_at = None
    ids = {f: tuple(re.findall(r"<[^<>\s]+>", str(made.get(f, "")))) for f in ("In-Reply-To", "References")}
    return Heard(
        message_id=str(made.get("Message-ID", "")).strip(),
        in_reply_to=ids["In-Reply-To"],
        references=ids["References"],
        from_name=clean_name(name),
        from_address=address.lower(),
        to=tuple(one.lower() for _, one in to if one),
        subject=" ".join(str(made.get("Subject", "")).split()),
        sent_at=sent_at,
        words=words,
        quoted="",
        pictures=(),
        left_out=(),
        automatic="",
        bounce=None,
    )
