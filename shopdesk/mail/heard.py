"""From the bytes of an email that came in to what was heard: who wrote, what they wrote now, what they sent
along, and whether a person wrote it at all."""

from __future__ import annotations

import email.utils
import logging
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, TypeVar

from shopdesk.mail.actions import clean_name
from shopdesk.mail.automatic import why_automatic
from shopdesk.mail.bounces import Bounce, bounce_of
from shopdesk.mail.charsets import header_text, text_of
from shopdesk.mail.contents import Contents, contents_of
from shopdesk.mail.entities import Entity, read
from shopdesk.mail.pictures import Part, sized

__all__ = ["Bounce", "Heard", "Part", "heard"]

log = logging.getLogger(__name__)
_T = TypeVar("_T")

SUBJECT_LENGTH = 300
WORDS_LENGTH = 100_000
"""Characters of what somebody wrote; what is beyond stands with the quoted rest."""
QUOTED_LENGTH = 1_000_000
_MOST_IDS = 100
_MOST_ADDRESSES = 200
_MOST_COMMENTS = 50

_TO = ("to", "cc", "delivered-to", "x-original-to", "envelope-to")
_WRITTEN_TO = ("to", "cc", "bcc")
_TURNS = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C])
"""Characters that turn the reading direction of what follows (UAX #9)."""
_LENIENT: dict[str, Any] = {"strict": False} if getattr(email.utils, "supports_strict_parsing", False) else {}
"""A newer Python gives up the whole field for one crooked address, unless told."""


@dataclass(frozen=True)
class Heard:
    """An email as far as the shop is concerned: text for people, decoded, without control characters or marks
    that turn the reading direction.

    Message-IDs have their <>; addresses are in lower case. `to` is every address that it names as a receiver,
    `written_to` those that its writer named, empty for one that cannot be read. `words` is what they wrote
    now; `quoted` is the rest that was cut off: an earlier email, a signature. No word is in neither.
    `pictures` are in the order of the email. `left_out` names what else it carried ("plan.pdf, 1.2 MB"),
    `marks` those of it that are a signature's or a layout's small pictures. `automatic` is a sentence that
    says why it is no person's answer, or empty."""

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
    marks: tuple[str, ...] = ()
    written_to: tuple[str, ...] = ()


def heard(raw: bytes) -> Heard:
    """What an email says. Never raises, whatever the bytes are: a field that makes no sense is empty, and of
    an email that cannot be taken apart the text is kept as it stands."""
    mail = _tried(lambda: read(raw), Entity(raw, [], 0, len(raw)))
    contents = _tried(lambda: contents_of(mail), Contents(words=text_of(raw[:WORDS_LENGTH])))
    words, quoted, left_out = _fitted(_clean_text(contents.words), _clean_text(contents.quoted))
    bounce = _tried(lambda: bounce_of(mail), None)
    name, address = _tried(lambda: _sender(mail), ("", ""))
    return Heard(
        message_id=next(iter(_ids(mail.get("message-id"))), _clean_line(mail.get("message-id"))),
        in_reply_to=_ids(mail.get("in-reply-to")),
        references=_ids(" ".join(mail.all("references"))),
        from_name=name,
        from_address=address,
        to=_tried(lambda: tuple(filter(None, _receivers(mail, _TO))), ()),
        subject=_clean_line(mail.text("subject")),
        sent_at=_tried(lambda: _sent_at(mail), None),
        words=words,
        quoted=quoted,
        pictures=contents.pictures,
        left_out=tuple(_clean_line(one) for one in (*contents.left_out, *left_out)),
        automatic=_tried(lambda: why_automatic(mail, bounce), ""),
        bounce=bounce and _clean_bounce(bounce),
        marks=tuple(map(_clean_line, contents.marks)),
        written_to=_tried(lambda: _receivers(mail, _WRITTEN_TO), ()),
    )


def _tried(make: Callable[[], _T], otherwise: _T) -> _T:
    try:
        return make()
    except Exception:  # it is in the log, and the owner gets to see the rest of the email
        log.exception("Part of an email could not be read")
        return otherwise


# -- who, to whom, when --------------------------------------------------------------------------------------


def _people(value: str) -> list[tuple[str, str]]:
    """Names and addresses of a field (RFC 5322, section 3.4), the names decoded, the addresses in lower
    case."""
    value = "".join(char for char in value if char >= " ")
    if value.count("(") > _MOST_COMMENTS:  # within each other, Python's reader follows them all the way down
        value = value.replace("(", " ").replace(")", " ")
    found = email.utils.getaddresses([value], **_LENIENT)[:_MOST_ADDRESSES]
    return [(clean_name(header_text(name)), _address(address)) for name, address in found]


def _address(said: str) -> str:
    """The address, or empty for what is none. A display name may be an encoded word without being one."""
    seen = "".join(char for char in header_text(said) if unicodedata.category(char)[0] not in "CZ")
    local, at, domain = seen.rpartition("@")
    return f"{local}@{domain}".lower() if local and at and domain and len(seen) <= 254 else ""


def _sender(mail: Entity) -> tuple[str, str]:
    """Who wrote. Where From names several, it is the one in <>; else nobody's address: the mail server that
    let it through may have vouched for another of them than we would read."""
    said = ", ".join(mail.all("from"))
    if len({address for _, address in _people(said) if address}) > 1:
        sole = re.fullmatch(r"([^<>,;]*)<([^<>,;]*)>\s*", said)
        return clean_name(header_text(sole[1] if sole else said)), _address(sole[2]) if sole else ""
    for field in ("from", "sender", "reply-to", "return-path"):
        for name, address in _people(mail.get(field)):
            if address:
                return name, address
    return clean_name(header_text(mail.get("from"))), ""


def _receivers(mail: Entity, names: tuple[str, ...]) -> tuple[str, ...]:
    fields = [value for name in names for value in mail.all(name)]
    return tuple(dict.fromkeys(address for value in fields for _, address in _people(value)))


def _sent_at(mail: Entity) -> datetime | None:
    """When its sender says that it was sent (RFC 5322, section 3.3); `None` for a date that is none."""
    try:
        at = email.utils.parsedate_to_datetime(mail.get("date"))
        return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)
    except (TypeError, ValueError, OverflowError, IndexError):
        return None


def _ids(value: str) -> tuple[str, ...]:
    """Message-IDs in their <>; one that was folded in the middle is whole again."""
    found = [re.sub(r"\s+", "", one) for one in re.findall(r"<[^<>]{1,998}>", value)]
    return tuple(dict.fromkeys(found))[-_MOST_IDS:]


# -- text for people -----------------------------------------------------------------------------------------


def _clean_line(text: str) -> str:
    """One line without control characters, marks that turn the reading direction, or what nobody sees."""
    spaced = "".join(
        " " if unicodedata.category(char) in ("Cc", "Zl", "Zp") else char for char in text[:4000]
    )
    seen = "".join(char for char in spaced if unicodedata.category(char) not in ("Cf", "Cs", "Co", "Cn"))
    return " ".join(seen.split())[:SUBJECT_LENGTH].strip()


def _clean_text(text: str) -> str:
    kept = _NOT_TEXT.sub("", text.translate(_TURNS)).replace("\u2028", "\n").replace("\u2029", "\n")
    return kept.strip("\n").rstrip()


_NOT_TEXT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ue000-\uf8ff\ufeff\ufff9-\ufffb]")


def _clean_bounce(bounce: Bounce) -> Bounce:
    return replace(bounce, message_id=_clean_line(bounce.message_id), address=_clean_line(bounce.address))


def _fitted(words: str, quoted: str) -> tuple[str, str, list[str]]:
    """No more words than a page can show; the others stand with the quoted ones, as far as those go."""
    if len(words) > WORDS_LENGTH:
        end = words.rfind("\n", WORDS_LENGTH // 2, WORDS_LENGTH) + 1 or WORDS_LENGTH
        words, quoted = words[:end].rstrip(), f"{words[end:]}\n\n{quoted}".rstrip()
    if len(quoted) <= QUOTED_LENGTH:
        return words, quoted, []
    return words, quoted[:QUOTED_LENGTH], [sized("the rest of the text", len(quoted) - QUOTED_LENGTH)]
