"""What a mail server writes about an email that did not arrive: delivery status notifications (RFC 3464, with
the addresses of RFC 6533), and what older servers write in plain text instead."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from shopdesk.mail.entities import HEAD_BYTES, Entity, head
from shopdesk.mail.refusals import ENHANCED, REPLY, one_line, plain_words, status_of

__all__ = ["Bounce", "bounce_of", "is_from_a_server", "plain_words"]


@dataclass(frozen=True)
class Bounce:
    """One email that did not arrive, or not yet.

    `message_id` is of the email that it is about, with <>, and empty when it does not say; `address` is whom
    that was to, in lower case. `action` is RFC 3464's "failed", "delayed", "relayed", "delivered" or
    "expanded"; `status` is RFC 3463's "5.1.1"; `words` says why in plain words for the owner, then in the
    server's. `alone` is whether the report is about nobody else."""

    message_id: str
    address: str
    action: str
    status: str
    words: str
    alone: bool = True


def bounce_of(mail: Entity) -> Bounce | None:
    """What the message says about another that was to be delivered; `None` when it is no such message."""
    report = next((part for part in mail.walk(within=False) if part.mime in _STATUS_TYPES), None)
    if report is not None and (_is_report(mail) or is_from_a_server(mail)):
        return _reported(mail, report)
    return _written(mail) if is_from_a_server(mail) else None


def is_from_a_server(mail: Entity) -> bool:
    """Whether no person sent it: an empty return path (RFC 5321, section 4.5.5), or a mail server's own
    name."""
    path = mail.get("return-path").strip()
    if path.startswith("<") and not path.strip("<> \t"):
        return True
    return any(
        _SERVER.search(said) if "@" in said else _BARE.search(said) for said in (mail.get("from"), path)
    )


_STATUS_TYPES = ("message/delivery-status", "message/global-delivery-status")
_ORIGINAL_TYPES = (
    "message/rfc822",
    "message/global",
    "text/rfc822-headers",
    "message/rfc822-headers",
    "message/global-headers",
)
_NAMES = r"(?<![\w.+-])(?:mailer-?daemon|mail-daemon|postmaster)"
_SERVER = re.compile(f"{_NAMES}@", re.IGNORECASE)
"""As somebody's address. As a name beside another address it is a person's: an inn is called Postmaster's."""
_BARE = re.compile(rf"{_NAMES}(?:[\s>\"')(]|$)", re.IGNORECASE)
_ID = re.compile(r"<[^<>\s]{1,900}>")
_WORST_FIRST = ("failed", "delayed", "expanded", "relayed", "delivered")


def _is_report(mail: Entity) -> bool:
    return mail.mime == "multipart/report" and mail.param("content-type", "report-type").lower() in (
        "delivery-status",
        "",
    )


# -- RFC 3464 ------------------------------------------------------------------------------------------------


def _reported(mail: Entity, report: Entity) -> Bounce:
    about, *recipients = _groups(report.data()[:HEAD_BYTES]) or [{}]
    if not recipients and "final-recipient" in about:
        recipients = [about]
    original = _original(mail)
    to = {one[0].lower() for one in _IN_ADDRESS.finditer(original.get("to") if original else "")}
    recipients.sort(key=lambda one: (not _is_named(one, to), _how_bad(one)))
    worst = recipients[0] if recipients else {}
    said = _after_type(worst.get("diagnostic-code", ""))
    status = status_of(worst.get("status", ""), said)
    action = _first_word(worst.get("action", "")) or _action(status)
    return Bounce(
        message_id=_original_id(mail, original),
        address=_address(worst, original, mail),
        action=action if action in _WORST_FIRST else _action(status),
        status=status or ("5.0.0" if action == "failed" else "4.0.0" if action == "delayed" else ""),
        words=_sentence(action, status, said or _after_type(worst.get("status", ""), strict=True)),
        alone=len(recipients) < 2,
    )


def _groups(data: bytes) -> list[dict[str, str]]:
    """The groups of fields: the first about the message, the others about a recipient each (2.1)."""
    groups: list[dict[str, str]] = []
    at = 0
    while at < len(data) and len(groups) < 200:
        fields, stop = head(data, at, len(data))
        if fields:
            groups.append(dict(reversed(fields)))
        if stop <= at:  # a line that is no field
            stop = data.find(b"\n", at) + 1 or len(data)
        at = stop
    return groups


def _how_bad(recipient: dict[str, str]) -> int:
    action = _first_word(recipient.get("action", ""))
    return _WORST_FIRST.index(action) if action in _WORST_FIRST else 1


def _is_named(recipient: dict[str, str], to: Collection[str]) -> bool:
    """Whether it is whom the email was for, and not somebody else that it was passed on to."""
    return any(
        found[0].lower() in to
        for name in ("original-recipient", "final-recipient")
        if (found := _IN_ADDRESS.search(_after_type(recipient.get(name, ""))))
    )


def _first_word(value: str) -> str:
    return re.split(r"[\s;(]", value.strip().lower(), maxsplit=1)[0]


def _after_type(value: str, *, strict: bool = False) -> str:
    """`smtp; 550 No such user` → `550 No such user`. `strict`: only what has a type."""
    kind, semicolon, rest = value.partition(";")
    if semicolon and re.fullmatch(r"\s*[\w-]+\s*", kind):
        return rest.strip()
    return "" if strict else value.strip()


def _address(recipient: dict[str, str], original: Entity | None, mail: Entity) -> str:
    """Whom it was for: as we wrote it, if the report says so, else where it ended up."""
    for name in ("original-recipient", "final-recipient"):
        said = _after_type(recipient.get(name, ""))
        said = re.sub(r"\\x\{([0-9A-Fa-f]{1,6})\}", _letter, said)  # RFC 6533, section 3
        found = _IN_ADDRESS.search(said)
        if found:
            return found[0].lower()
    for said in (mail.get("x-failed-recipients"), original.get("to") if original is not None else ""):
        if found := _IN_ADDRESS.search(said):
            return found[0].lower()
    return ""


def _letter(found: re.Match[str]) -> str:
    code = int(found[1], 16)
    return chr(code) if 0x20 < code < 0x110000 and not 0xD800 <= code < 0xE000 else ""


_IN_ADDRESS = re.compile(
    r"(?:\"[^\"\s@]{1,64}\"|[^\s<>()\[\],;:\"@]{1,64})@[^\s<>()\[\],;:\"@]{1,190}[^\s<>()\[\],;:\"@.]"
)


def _original(mail: Entity) -> Entity | None:
    """The email that it is about, or its header fields."""
    for part in mail.walk(within=False):
        if part.mime in _ORIGINAL_TYPES:
            if part.parts:
                return part.parts[0]
            data = part.data()
            fields, stop = head(data, len(data) - len(data.lstrip()), len(data))
            return Entity(data, fields, stop, len(data))
    return None


def _original_id(mail: Entity, original: Entity | None) -> str:
    texts = [original.get("message-id") if original is not None else "", mail.get("x-original-message-id")]
    texts += [mail.get("in-reply-to"), " ".join(reversed(mail.get("references").split()))]
    for text in texts:
        if found := _ID.search(re.sub(r"\s+", "", text).replace("><", "> <")):
            return found[0]
    return ""


def _action(status: str) -> str:
    return {"4": "delayed", "2": "delivered"}.get(status[:1], "failed")


def _sentence(action: str, status: str, said: str) -> str:
    if action in ("delivered", "relayed", "expanded"):
        return {
            "delivered": "It was delivered.",
            "relayed": "It was handed on to a mail server that does not report what becomes of it.",
            "expanded": "It was handed on to everybody on a list.",
        }[action]
    words = plain_words(status, said, tried_again=False)
    if action == "delayed" and not words.startswith("It "):
        return f"It is not delivered yet; the mail server goes on trying. {words}"
    return words


# -- in plain text -------------------------------------------------------------------------------------------

_NOT_DELIVERED = re.compile(
    r"could(?: not|n't) (?:be )?deliver|(?:was|were) not delivered|cannot be delivered|"
    r"(?:not|wasn't|un)\s?able to deliver|undeliver(?:able|ed)|delivery (?:has )?failed|failed permanently|"
    r"permanent(?:ly)? (?:fatal )?(?:error|failure|failed)|returned to (?:the )?sender|"
    r"following (?:address|recipient)\w*(?:\(es\))? (?:failed|had)|"
    r"delivery (?:failure|status notification)|failure notice|returned mail|mail delivery (?:failed|system)|"
    r"nicht zugestellt|unzustellbar|non (?:è stato|remis)|no se (?:ha podido|pudo) entregar",
    re.IGNORECASE,
)
_NOT_YET = re.compile(
    r"(?:has|have) not (?:yet )?been delivered|not yet been delivered|delivery (?:is )?delayed|"
    r"will (?:be re|re)tr(?:y|ied)|still (?:being )?tr(?:y|ied)|keep trying|warning message only|"
    r"(?:do not|don't) need to resend|temporar",
    re.IGNORECASE,
)
_COPY_BELOW = re.compile(
    r"^(?:-{2,}\s*(?:below (?:this|the next) line is|this is a copy|the (?:header|body) of|original message|"
    r"unsent message|returned message|message header|undelivered message|----)|return-path:|received: )",
    re.IGNORECASE | re.MULTILINE,
)
_MOST = 60_000


def _written(mail: Entity) -> Bounce | None:
    text = next((part.letters() for part in mail.walk(within=False) if part.mime == "text/plain"), "")[:_MOST]
    below = _COPY_BELOW.search(text)
    report = text[: below.start()] if below else text
    named = mail.get("x-failed-recipients")
    if (
        not named
        and not _NOT_DELIVERED.search(f"{mail.text('subject')}\n{report}")
        and not _NOT_YET.search(report)
    ):
        return None
    if not named and not (ENHANCED.search(report) or REPLY.search(report) or _BRACKETED.search(report)):
        return None
    original = _original(mail)
    address = _IN_ADDRESS.search(named) or _BRACKETED.search(report) or _IN_ADDRESS.search(report)
    whom = address[address.lastindex or 0].lower() if address else ""
    place = address.end() if address and not named else max(report.lower().find(whom), 0)
    others = [one for one in _RECIPIENT.finditer(report) if whom and one[1].lower() != whom]
    first = place if any(one.start() < place for one in others) else 0
    about = report[first : next((one.start() for one in others if one.start() >= place), None)]
    said = _said(about, 0 if named else place - first)
    status = status_of(said, about)
    copied = _MESSAGE_ID.search(text, below.start() if below else 0)
    action = "failed" if named or status.startswith("5") or not _NOT_YET.search(report) else "delayed"
    if status.startswith("4") and _NOT_YET.search(report):
        action = "delayed"
    return Bounce(
        message_id=_original_id(mail, original) or (copied[1] if copied else ""),
        address=whom,
        action=action,
        status=status or ("5.0.0" if action == "failed" else "4.0.0"),
        words=_sentence(action, status, said),
        alone=not others,
    )


_BRACKETED = re.compile(r"<([^\s<>@]{1,64}@[^\s<>@]{1,190})>")
_RECIPIENT = re.compile(
    r"^[ \t]{0,8}<?([^\s<>@:;,()]{1,64}@[^\s<>@:;,()]{1,190})>?(?=[:.,]?(?:[ \t]|$))", re.MULTILINE
)
"""An address that a line begins with: what follows is about it."""
_MESSAGE_ID = re.compile(r"^message-id:\s*(<[^<>\s]{1,900}>)", re.IGNORECASE | re.MULTILINE)


def _said(report: str, start: int) -> str:
    """The server's own words: the paragraph behind the address, from its code on where it has one."""
    for code in (ENHANCED, REPLY):
        if found := code.search(report, start):
            line_start = report.rfind("\n", 0, found.start()) + 1
            reply = REPLY.search(report, line_start, found.end())
            begin = reply.start() if reply else found.start()
            return one_line(report[begin:].split("\n\n", 1)[0])
    behind = report[start:].lstrip(">:\n\t ").split("\n\n", 1)[0] if start else ""
    return one_line(behind)
