"""The shop's own words for a kind of email, in place of those that it came with."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from markdown_it.token import Token

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.mail import blanks, catalogue, typeset
from shopdesk.mail.book import MARK, Book, cleaned, without_links
from shopdesk.mail.catalogue import Source
from shopdesk.mail.filling import LINK_FIELD, Fields, filled
from shopdesk.mail.models import OwnWords

log = logging.getLogger(__name__)

SUBJECT_LENGTH = 200
BODY_LENGTH = 10_000
_ADDRESS = re.compile(
    r"https?://[^\s/?#@\\]+([/?#]\S*)?|mailto:[^\s@]+@[^\s@]+|tel:\+?[\d ().-]+", re.IGNORECASE
)
_HALF_A_LINK = re.compile(r"!?\[[^\[\]\n]*\] ?[({][^\n]{0,60}|\]\([^\n]{0,40}")
_BESIDE_A_LINK = re.compile(r"\[[^\[\]\n]+\] ?\{ *" + LINK_FIELD + r" *\}")
_A_LINK_IS = f"A link is [words]({{{LINK_FIELD}}})."


@dataclass(frozen=True)
class Fault:
    """What is wrong with a `field` ("subject" or "body"), in words for the owner."""

    field: str
    text: str


class Faulty(Exception):
    """Words that cannot be kept, and what is wrong with them."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__(" ".join(fault.text for fault in faults))
        self.faults = faults


class Sources:
    """The words that emails are made of now: the shop's own, as long as they can be filled, or those that
    Shopdesk came with. One statement, however many kinds are asked for."""

    def __init__(self, kind: str = "") -> None:
        """With a `kind`, only the own words of that one are read."""
        self._rows = OwnWords.objects.filter(kind=kind) if kind else OwnWords.objects.all()

    @cached_property
    def _own(self) -> dict[str, tuple[str, str]]:
        return {
            kind: (subject, body) for kind, subject, body in self._rows.values_list("kind", "subject", "body")
        }

    def __getitem__(self, kind: str) -> Source:
        """Raises `LookupError` where there are none, `ValueError` where they are no words."""
        own = self._own.get(kind)
        if own is not None:
            faults = faults_in(kind, *own)
            if not faults:
                return Source(*tidied(*own), own=True)
            log.error("The shop's own words for “%s” are left aside: %s", kind, faults[0].text)
        return catalogue.shipped(kind)


def tidied(subject: str, body: str) -> tuple[str, str]:
    """As it is kept and set: nothing in it passes for a value's mark or for a key."""
    return without_links(cleaned(subject)).strip(), without_links(cleaned(body)).strip("\n")


class Older(Refused):
    """Other words are in place than those that the owner had before them: `now`, or the original ones."""

    def __init__(self, now: OwnWords | None) -> None:
        super().__init__("These words were changed in another window meanwhile.")
        self.now = now


@transaction.atomic
def keep(kind: str, subject: str, body: str, seen: datetime | None, who: Who) -> None:
    """Put the shop's own words in place, for emails that are not worded yet. `seen` is when those that the
    owner had before them were written, `None` for the original ones. Raises `Faulty`, or `Older`."""
    _of_the_shop(who)
    if faults := faults_in(kind, subject, body):
        raise Faulty(faults)
    subject, body = tidied(subject, body)
    now = timezone.now()
    if seen is None:
        _, made = OwnWords.objects.get_or_create(
            kind=kind, defaults={"subject": subject, "body": body, "changed_at": now}
        )
    else:
        made = bool(
            OwnWords.objects.filter(kind=kind, changed_at=seen).update(
                subject=subject, body=body, edition=F("edition") + 1, changed_at=now
            )
        )
    if not made:
        raise Older(OwnWords.objects.filter(kind=kind).first())


@transaction.atomic
def drop(kind: str, seen: datetime | None, who: Who) -> None:
    """Back to the words that Shopdesk came with. Raises `Older`."""
    _of_the_shop(who)
    if seen is None or not OwnWords.objects.filter(kind=kind, changed_at=seen).delete()[0]:
        raise Older(OwnWords.objects.filter(kind=kind).first())


def _of_the_shop(who: Who) -> None:
    if not who.is_owner:
        raise Refused("That is the shop's to say.")


def left_aside() -> dict[str, str]:
    """Kinds whose own words cannot be used, though they were kept, and why: the original ones go out."""
    rows = OwnWords.objects.order_by("kind").values_list("kind", "subject", "body")
    return {
        kind: faults[0].text for kind, subject, body in rows if (faults := faults_in(kind, subject, body))
    }


# -- what can be wrong with them ---------------------------------------------------------------------------


def faults_in(kind: str, subject: str, body: str) -> tuple[Fault, ...]:
    about = catalogue.about(kind)
    return _judged(tuple(about.fields.items()), about.required, subject, body)


@lru_cache(128)
def _judged(
    fields: tuple[tuple[str, str], ...], required: tuple[str, ...], subject: str, body: str
) -> tuple[Fault, ...]:
    known = dict(fields)
    found = [Fault("subject", text) for text in _wrong_in_subject(known, subject)]
    found += [Fault("body", text) for text in _wrong_in_body(known, required, body)]
    return tuple(found)


def _wrong_in_subject(known: dict[str, str], subject: str) -> Iterator[str]:
    if "\n" in subject.strip() or "\r" in subject.strip():
        yield "A subject is one line."
    if not subject.strip():
        yield "Write a subject: without one an email is easily overlooked."
    elif len(subject) > SUBJECT_LENGTH:
        yield f"That is {len(subject)} characters; {SUBJECT_LENGTH} fit."
    try:
        names = blanks.check(subject, known)
    except blanks.BlankError as error:
        yield str(error)
        return
    if LINK_FIELD in names:
        yield f"A subject cannot hold a link: leave {{{LINK_FIELD}}} to the words."


def _wrong_in_body(known: dict[str, str], required: tuple[str, ...], body: str) -> Iterator[str]:
    if not body.strip():
        yield "Write the words."
        return
    if len(body) > BODY_LENGTH:
        yield f"That is {len(body):,} characters; {BODY_LENGTH:,} fit."
        return
    try:
        names = blanks.names_in(body)
    except blanks.Broken as error:
        yield str(error)
        return
    if unknown := [name for name in names if name not in known]:
        yield str(blanks.Unknown(unknown, known))
    missing = [name for name in required if name not in names]
    if len(missing) == 1:
        yield f"{blanks.said_together(missing)} has to stay in: {known[missing[0]]}"
    elif missing:
        yield f"{blanks.said_together(missing)} have to stay in."
    yield from _wrong_links(tidied("", body)[1], names)


def _wrong_links(body: str, names: tuple[str, ...]) -> Iterator[str]:
    if beside := _BESIDE_A_LINK.search(body):
        yield f"“{beside[0]}” is a link that is not whole. {_A_LINK_IS}"
    book = Book()
    fields = Fields({name: name for name in names}, {}, book)
    for token in typeset.all_tokens(typeset.tokens_of(filled(body, fields))):
        if token.type == "link_open":
            yield from _wrong_address(str(token.attrs["href"]), book)
        elif token.type == "inline":
            said = MARK.sub(lambda found: f"{{{book.values[int(found[1])]}}}", _without_links(token))
            if half := _HALF_A_LINK.search(said):
                yield f"“{half[0].strip()}” is a link that is not whole. {_A_LINK_IS}"


def _without_links(inline: Token) -> str:
    """The text of a line outside its links and its code."""
    depth, said = 0, ""
    for token in inline.children or []:
        depth += token.nesting if token.type in ("link_open", "link_close") else 0
        if depth == 0 and token.type in ("text", "softbreak", "hardbreak"):
            said += token.content or "\n"
    return said


def _wrong_address(address: str, book: Book) -> Iterator[str]:
    found = MARK.search(address)
    shown = MARK.sub(lambda mark: f"{{{book.values[int(mark[1])]}}}", address)
    if found is None:
        if not address:
            yield "A link leads nowhere: write its address in the round brackets."
        elif not _ADDRESS.fullmatch(address):
            near = (
                f" Did you mean https://{address}?" if re.match(r"[\w-]+(\.[\w-]+)+(/\S*)?$", address) else ""
            )
            yield (
                f"“{shown}” is no address that an email may lead to: "
                f"write one that begins with https://, mailto: or tel:.{near}"
            )
    elif shown != f"{{{LINK_FIELD}}}" and not address.lower().startswith(("mailto:", "tel:")):
        yield (
            f"“{shown}” is no address. A link may lead to {{{LINK_FIELD}}}, "
            "or to an address that you write out."
        )
