"""Writing emails into the outbox, and what the desk does with them afterwards. Sending is `delivery.py`."""

from __future__ import annotations

import re
import unicodedata
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from shopdesk.base import work
from shopdesk.base.nudge import nudge
from shopdesk.base.refusals import Refused
from shopdesk.mail import catalogue, tags
from shopdesk.mail.claims import UNCLAIMED, UNWORDED, let_go
from shopdesk.mail.models import DeadAddress, Email, Enclosure
from shopdesk.mail.words import NoWords, words

TASK = "shopdesk.mail.deliver"

_NAME_LENGTH = 100
_REFERENCES = 10
_SAYS_LENGTH = 200
_CID_LENGTH = 80
MOST_PICTURES = 6
"""Within one email, also where several became one."""


@dataclass(frozen=True)
class Person:
    """Who an email is to or from. Without an `address` the words are for the owner to pass on."""

    name: str
    address: str


@dataclass(frozen=True)
class Enclose:
    """What an email carries: bytes by `ref` (`shopdesk.base.blobs`; it waits for them), or `text` written
    out.

    `mime` is a media type with parameters: "application/pdf", "text/calendar; method=REQUEST". With a `cid`
    (what no other picture has; the shop's host is put after it) it is a picture that stands within the email,
    `says` what it shows, and `width` and `height` how large, in CSS pixels; without, an attachment.
    """

    filename: str
    mime: str
    ref: str = ""
    text: str = ""
    cid: str = ""
    says: str = ""
    width: int = 0
    height: int = 0


def write(
    kind: str,
    *,
    to: Person,
    sender: Person,
    context: dict[str, Any],
    thread: str,
    enclose: Sequence[Enclose] = (),
    gather: str = "",
    first_at_once: bool = False,
    due_at: datetime | None = None,
    stop: str = "",
) -> Email:
    """Put an email into the outbox, in the transaction that causes it. It goes out after the commit, not
    before `due_at`.

    `kind` names `templates/emails/<kind>.md`, which `context` fills: strings, numbers, lists and dicts of
    them. Strings are data and never markup; only one under the key `page` may be a link
    (`shopdesk.mail.links`). Emails of one `thread` answer each other. While an email with the same `gather`
    key still waits, this one's `context["items"]` and enclosures are added to it instead; it goes out
    `MAIL_GATHER_SECONDS` after the first was written. With `first_at_once` the first goes out at once, and
    one that follows within as many seconds waits until they are over, and gathers. What would be for an
    address that takes no mail is for the owner to pass on. `stop` is the placeholder of the link that
    switches its sort off."""
    assert transaction.get_connection().in_atomic_block, "an email belongs to what causes it"
    now = timezone.now()
    address = to.address.strip()
    by_email = bool(address) and not is_dead(address)
    if not by_email:
        gather = ""  # nothing is added to words that the owner may be passing on this minute
    if due_at is None:
        due_at = _gathered_until(thread, gather, now, first_at_once) if gather else now
    about = catalogue.about(kind)
    values: dict[str, Any] = {
        "kind": kind,
        "sort": about.sort,
        "can_wait": about.can_wait,
        "way": Email.Way.EMAIL if by_email else Email.Way.TELL,
        "context": context,
        "thread": thread,
        "to_name": clean_name(to.name),
        "to_address": address,
        "from_name": clean_name(sender.name),
        "from_address": sender.address.strip(),
        "reply_to": tags.reply_address(thread),
        "stop": stop,
        "gather": gather,
        "due_at": due_at,
        "made_at": now,
        "complete": not any(one.ref for one in enclose),
    }
    email = _gathered(gather, values) if gather else _new(values)
    Enclosure.objects.bulk_create(
        Enclosure(
            email=email,
            ref=one.ref,
            text=one.text,
            filename=one.filename,
            mime=one.mime,
            ready=not one.ref,
            cid=f"{one.cid}@{_host(email.from_address)}"[:_CID_LENGTH].rstrip(".-") if one.cid else "",
            says=" ".join(one.says.split())[:_SAYS_LENGTH],
            width=one.width,
            height=one.height,
        )
        for one in _that_fit(email, enclose)
    )
    if email.way == Email.Way.EMAIL and email.due_at <= now:
        nudge(TASK)
    return email


def _that_fit(email: Email, enclose: Sequence[Enclose]) -> list[Enclose]:
    """What an email is to carry besides what it carries: pictures only until there are `MOST_PICTURES`."""
    pictures = [one for one in enclose if one.cid]
    if not pictures:
        return list(enclose)
    room = MOST_PICTURES - email.enclosures.exclude(cid="").count()
    return [one for one in enclose if not one.cid or one in pictures[: max(room, 0)]]


def is_dead(address: str) -> bool:
    """Whether its mail server said for good that it takes nothing for this address."""
    return DeadAddress.objects.filter(address=address.strip().lower()).exists()


def _gathered_until(thread: str, key: str, now: datetime, first_at_once: bool) -> datetime:
    span = timedelta(seconds=settings.MAIL_GATHER_SECONDS)
    if not first_at_once:
        return now + span
    last = Email.objects.filter(thread=thread, gather=key).order_by("-id").first()  # by the thread's index
    return max(now, last.made_at + span) if last else now


def _new(values: dict[str, Any]) -> Email:
    before = Email.objects.filter(thread=values["thread"], way=Email.Way.EMAIL).exclude(thread="")
    if not values["can_wait"]:  # it may go out first, and answers nothing that has not
        before = before.exclude(can_wait=True, state=Email.State.WAITING)
    earlier = list(before.order_by("-id").values_list("message_id", "references")[:_REFERENCES])
    line: list[str] = []
    if earlier:
        first = (earlier[-1][1].split() or [earlier[-1][0]])[0]
        line = list(dict.fromkeys([first, *(message_id for message_id, _ in reversed(earlier))]))
    return Email.objects.create(
        **values,
        message_id=f"<{uuid.uuid4()}@{_host(values['from_address'])}>",
        in_reply_to=line[-1] if line else "",
        references=" ".join(line),
    )


def _gathered(key: str, values: dict[str, Any]) -> Email:
    """The waiting email with this key, with what comes now added to it; or a new one."""
    waiting = Email.objects.filter(gather=key, state=Email.State.WAITING, tries=0, told_at=None)
    for _ in range(5):
        # The lock holds back a worker that would claim it; one that was quicker has left nothing to add to.
        email = waiting.select_for_update().first()
        if email is not None:
            together = {**email.context}
            together["items"] = [*email.context.get("items", []), *values["context"].get("items", [])]
            complete = email.complete and values["complete"]
            if waiting.filter(pk=email.pk).update(context=together, complete=complete):
                email.context, email.complete = together, complete
                return email
        try:
            with transaction.atomic():
                return _new(values)
        except IntegrityError:  # somebody else began to gather in the same moment: add to theirs
            continue
    return _new({**values, "gather": ""})


def _host(address: str) -> str:
    """What stands after the @ of a Message-ID: the shop's own host, or else the sender's domain."""
    host = urlsplit(settings.PUBLIC_URL).hostname or ""
    if "." not in host or re.fullmatch(r"[\d.]+", host):
        host = address.rpartition("@")[2] or "localhost"
    return host.encode("idna", "ignore").decode().lower() if not host.isascii() else host.lower()


def clean_name(name: str) -> str:
    """A name as it may stand in a header: one line, without control characters, marks that turn the reading
    direction, or characters that nobody sees."""
    spaced = "".join(" " if unicodedata.category(char) in ("Cc", "Zl", "Zp") else char for char in name)
    seen = "".join(char for char in spaced if unicodedata.category(char) not in ("Cf", "Cs", "Co", "Cn"))
    return " ".join(seen.split())[:_NAME_LENGTH].strip()


def told(email: Email) -> None:
    """The owner has passed the words on. Raises `Refused` when there is nothing left to tell."""
    now = timezone.now()
    try:
        said = words(email)
        kept = {"subject": said.subject, "text": said.text, "html": said.html, "worded_at": now}
    except NoWords:  # they could not be read either; ticking off must still be possible
        kept = {}
    if not Email.objects.filter(pk=email.pk, way=Email.Way.TELL, told_at=None).update(
        told_at=now, state=Email.State.DONE, done_at=now, **kept
    ):
        raise Refused("That is ticked off already.")


@transaction.atomic
def again(email: Email) -> None:
    """Put an email that failed back in line, and with one that came back what went out in it: each is asked
    again whether it is needed. Raises `Refused` when it has not failed, or not any more."""
    rows = Email.objects.filter(pk=email.pk, way=Email.Way.EMAIL, state=Email.State.FAILED)
    # It has been tried: nothing is added to it any more.
    rows.update(gather="", came_back_at=None, put_off_since=None)
    if not work.again(rows):
        raise Refused("That email is back in line already.")
    inside = Email.objects.filter(bundle=email.pk, worded_at=email.worded_at, not_needed_at=None)
    inside.filter(state=Email.State.DONE).update(
        state=Email.State.WAITING, done_at=None, to_name=email.to_name, to_address=email.to_address
    )
    nudge(TASK)


@transaction.atomic
def readdress(rows: QuerySet[Email], to: Person, phone: str = "") -> int:
    """Let those of `rows` that have not gone out be for `to` from now on; without an address they become
    words to pass on, by `phone` if there is one. What failed keeps its reason and waits for a press; what
    waits to be passed on because an address takes no mail goes to the new one. Returns how many emails have
    another address now.

    What a worker has claimed is taken from it, and it looks before it hands anything over: nothing goes to
    the old address but what is being handed over in this very moment, and that goes to the new one too."""
    address, moved = to.address.strip(), 0
    by_email = bool(address) and not is_dead(address)
    for email in _locked(rows):
        values: dict[str, Any] = {"to_name": clean_name(to.name)}
        if "phone" in email.context:
            values["context"] = {**email.context, "phone": phone}
        if email.to_address not in ("", address):
            moved += 1
            values |= {"to_address": address, "gather": "", "bundle": None}
            if _parted(email):
                values |= UNWORDED
            values |= _begun_anew(email) if by_email else _to_be_told(email)
        Email.objects.filter(pk=email.pk).update(**values)
    if moved:
        nudge(TASK)
    return moved


@transaction.atomic
def change_sender(shop: Person) -> None:
    """Let what has not gone out be from `shop` from now on, and what the shop writes to itself be for it."""
    rows = _not_gone_out(Email.objects.all())
    list(_locked(rows).values_list("pk"))
    own = rows.filter(to_address__iexact=F("from_address"))
    readdress(Email.objects.filter(pk__in=list(own.values_list("pk", flat=True))), shop)
    rows.update(from_name=clean_name(shop.name), from_address=shop.address.strip())


def _not_gone_out(rows: QuerySet[Email]) -> QuerySet[Email]:
    states = (Email.State.WAITING, Email.State.UNDER_WAY, Email.State.FAILED)
    return rows.filter(state__in=states, told_at=None)


def _locked(rows: QuerySet[Email]) -> QuerySet[Email]:
    """Those that have not gone out, for nobody else until the transaction ends. What others go out in is
    locked before these, as by the worker that has it."""
    rows = _not_gone_out(rows)
    alone = Q(pk__in=rows.filter(bundle=None).values("pk"))
    carriers = Email.objects.filter(alone | Q(pk__in=rows.values("bundle")))
    list(carriers.select_for_update().order_by("pk").values_list("pk"))
    return rows.select_for_update(of=("self",)).order_by("pk")


def _parted(email: Email) -> bool:
    """Part a locked email from those that were to go out with it, and from its day. Returns whether there
    were any: then the words of all are made anew."""
    if email.bundle_id is None:
        return bool(let_go(email))
    carrier = Email.objects.filter(pk=email.bundle_id)
    carrier.filter(state__in=(Email.State.WAITING, Email.State.UNDER_WAY)).update(**UNCLAIMED, **UNWORDED)
    return True


def _begun_anew(email: Email) -> dict[str, Any]:
    """What another address makes of the tries so far: whatever the old one had against an email says nothing
    about the new one. What is kept for a later hour or day stays so."""
    if email.state == Email.State.FAILED:
        return {}
    values: dict[str, Any] = {"tries": 0, "put_off_since": None}
    waits = email.state == Email.State.WAITING and email.way == Email.Way.EMAIL
    if waits and email.put_off_since is None:
        return values if email.held_at else values | {"trouble": ""}
    now = timezone.now()
    return values | UNCLAIMED | {"way": Email.Way.EMAIL, "due_at": now, "held_at": None, "trouble": ""}


def _to_be_told(email: Email) -> dict[str, Any]:
    """What becomes of an email without an address: words as one says them or, where others went out in it,
    as they went out."""
    values: dict[str, Any] = {
        **UNCLAIMED,
        "way": Email.Way.TELL,
        "trouble": "",
        "done_at": None,
        "held_at": None,
        "put_off_since": None,
        "tries": 0,
    }
    return values if Email.objects.filter(bundle=email.pk).exists() else values | UNWORDED
