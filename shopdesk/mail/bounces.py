"""What a mail server says about an email that did not arrive (RFC 3464, status codes of RFC 3463)."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Bounce:
    """One email that did not arrive, or not yet.

    `action` is RFC 3464's "failed", "delayed", "relayed", "delivered" or "expanded"; `status` is RFC 3463's
    "5.1.1"; `words` says why in plain words for the owner, then in the server's."""

    message_id: str
    address: str
    action: str
    status: str
    words: str


def plain_words(status: str, said: str = "") -> str:
    """Why a mail server did not take an email, in plain words and then in the server's own.

    `status` is an enhanced status ("5.1.1"), an SMTP reply code ("550"), both ("550 5.1.1") or empty."""
    said = " ".join(said.split())[:300]
    full = "5.2.2" in (status or said)
    why = "Their mailbox is full." if full else "Their mail server did not take it."
    return f"{why} Their server said: “{said}”" if said else re.sub(r"\s+", " ", why)
