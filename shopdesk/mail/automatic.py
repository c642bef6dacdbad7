"""Whether a person wrote an email, or a program answered for them (RFC 3834). A subject alone says nothing:
people write "Out of office" too."""

from __future__ import annotations

import re

from shopdesk.mail.bounces import Bounce, is_from_a_server
from shopdesk.mail.entities import Entity

_ANSWERS = "A program wrote it"
_MARKED_BY_PROGRAMS = (
    "x-autoreply",
    "x-autorespond",
    "x-autoresponder",
    "x-mail-autoreply",
    "x-autoreply-from",
)
"""What answering programs put on their emails: common practice, no source."""
_BULK = {"bulk": "in bulk", "junk": "in bulk", "list": "to a list", "auto_reply": "by an answering program"}
_SUPPRESSED = frozenset(("all", "oof", "autoreply"))
"""Values of X-Auto-Response-Suppress ([MS-OXCMAIL] 2.1.3.2.20) that robots put on; those about receipts alone
are a person's wish."""


def why_automatic(mail: Entity, bounce: Bounce | None) -> str:
    """A sentence for the owner that says why it is no person's answer; empty when it may be one."""
    if bounce is not None:
        return "It is a mail server's report about an email of the shop's."
    if mail.get("content-type").lower().startswith("multipart/report"):
        kind = mail.param("content-type", "report-type").lower()
        if kind == "disposition-notification" or any(
            part.mime.endswith("disposition-notification") for part in mail.parts
        ):
            return "It is a receipt that says what became of an email, written by a program (RFC 8098)."
        if kind == "feedback-report":
            return "It says that somebody marked an email of the shop's as unwanted (RFC 5965)."
        return "It is a report, written by a mail server."
    submitted = _word(mail.get("auto-submitted"))
    if submitted and submitted != "no":
        return f"{_ANSWERS}: it says Auto-Submitted: {submitted} (RFC 3834)."
    if is_from_a_server(mail):
        return "A mail server wrote it."
    for name in _MARKED_BY_PROGRAMS:
        if mail.get(name) and _word(mail.get(name)) not in ("no", "false"):
            return f"{_ANSWERS}: it is marked {name.title()}."
    if _SUPPRESSED & set(re.split(r"[\s,;]+", mail.get("x-auto-response-suppress").lower())):
        return f"{_ANSWERS}: it asks that no program answers it (X-Auto-Response-Suppress)."
    if how := _BULK.get(_word(mail.get("precedence"))):
        return f"It was sent {how} (Precedence: {_word(mail.get('precedence'))})."
    if mail.get("list-id"):
        return "It came through a list (List-Id, RFC 2919)."
    if mail.get("list-unsubscribe"):
        return "It was sent to a list of people (List-Unsubscribe, RFC 2369)."
    return ""


def _word(value: str) -> str:
    """The first word of a field's value, without a comment or parameters."""
    bare = re.sub(r"\([^()]*\)", " ", value[:1000]).strip().lower()
    return re.split(r"[\s;,]", bare, maxsplit=1)[0][:40]
