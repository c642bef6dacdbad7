"""Where an email that came in belongs. That is said by the sealed mark in the address it was sent to, or by
the emails that it answers (RFC 5322, section 3.6.4): nobody can know either who did not get an email of the
shop's. Its subject says nothing, and who it claims to be from is never enough: that only has to fit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.clients.queries import clients_with_email, grant_of
from shopdesk.commissions.models import Commission
from shopdesk.commissions.queries import all_of_clients
from shopdesk.commissions.stages import ENDS
from shopdesk.conversation.models import Message
from shopdesk.mail import tags
from shopdesk.mail.heard import Bounce, Heard
from shopdesk.mail.lines import lines_of
from shopdesk.mail.models import Arrival, Email
from shopdesk.mail.quoted import cut
from shopdesk.shop.models import User
from shopdesk.shop.queries import shop_or_none

Verdict = Arrival.Verdict
_THREAD = re.compile(r"commission ([0-9]{1,18})( shop)?", re.ASCII)
_MOST_ANSWERED = 200
"""So many of the emails that it says it answers are looked up, the newest."""
_SIGNATURE = re.compile(r"\.(p7s|asc|sig|vcf)(,|$)", re.ASCII | re.IGNORECASE)
"""What mail programs add by themselves: a signature, a card with the sender's name."""


@dataclass(frozen=True)
class Place:
    """The conversation of a commission, and who speaks in it: its client, or `by_shop` somebody of the shop,
    who has read what the client wrote up to the message `upto`."""

    commission: Commission
    who: Who
    by_shop: bool = False
    upto: int | None = None


@dataclass(frozen=True)
class Aside:
    """No conversation is its place. `hint` is the thread that it may belong to; `returned` the email that
    came back, and what is said of it."""

    verdict: Arrival.Verdict
    why: str
    hint: str = ""
    returned: tuple[Email, Bounce] | None = None


def belongs(mail: Heard, came_at: datetime) -> Place | Aside:
    """Where an email belongs. Reads, and changes nothing."""
    shop = shop_or_none()
    home = shop.email.lower() if shop else ""
    if mail.message_id and Email.objects.filter(message_id=mail.message_id).exists():
        return Aside(Verdict.OURS, "It is one of your own emails, come round.")
    if mail.bounce is not None:
        return _returned(mail.bounce)
    if mail.automatic:
        # Some mail servers put another Message-ID on what is handed to them.
        if home and mail.from_address == home:
            return Aside(Verdict.OURS, "It is one of your own emails, come round.")
        return Aside(Verdict.AUTOMATIC, mail.automatic)
    return _answering(mail, came_at, home)


def _returned(bounce: Bounce) -> Aside:
    email = Email.objects.filter(message_id=bounce.message_id).exclude(message_id="").first()
    if email is not None:
        return Aside(Verdict.BOUNCE, "", returned=(email, bounce))
    if bounce.address and clients_with_email(bounce.address):
        return Aside(
            Verdict.TRAY,
            f"It says that an email to {bounce.address} did not arrive, but not which: nothing is marked.",
            _only_open(bounce.address),
        )
    return Aside(Verdict.AUTOMATIC, "It says that an email did not arrive, and names none of yours.")


def _answering(mail: Heard, came_at: datetime, home: str) -> Place | Aside:
    named, forged = _named(mail.to)
    if len(named) > 1:
        return Aside(Verdict.TRAY, "It is addressed to more than one conversation.")
    if forged and not named:
        return Aside(
            Verdict.TRAY,
            "The mark in the address that it was sent to is not one that you gave out.",
            _only_open(mail.from_address),
        )
    answered = _answered(mail, named[0] if named else "")
    thread = named[0] if named else answered.thread if answered else ""
    of = _THREAD.fullmatch(thread)
    if of is None:
        return _unknown(mail, home)
    commission = Commission.objects.select_related("client").filter(pk=int(of[1])).first()
    if commission is None:
        return Aside(Verdict.TRAY, "The conversation that it answers is not there any more.")
    if not (mail.words or mail.pictures or mail.left_out):
        more = " besides what it quotes" if mail.quoted else ""
        return Aside(Verdict.TRAY, f"It answers {commission.number}, and nothing stands in it{more}.", thread)
    if of[2]:
        return _by_shop(mail, came_at, home, commission, thread, marked=bool(named))
    if not _speaks_for(commission.client, mail.from_address, thread):
        return Aside(
            Verdict.TRAY,
            f"It answers {commission.number}, but comes from another address than the client’s.",
            thread,
        )
    return Place(commission, Who("client", commission.client_id))


def _named(addresses: tuple[str, ...]) -> tuple[list[str], bool]:
    """The threads that recipients' addresses name, and whether one holds a mark that is not ours."""
    named: dict[str, None] = {}
    forged = False
    for address in addresses:
        try:
            thread = tags.thread_of(address)
        except tags.Forged:
            forged = True
        else:
            if thread is not None:
                named[thread] = None
    return list(named), forged


def _answered(mail: Heard, thread: str) -> Email | None:
    """The email of ours that it answers, the newest that it names; of the thread, where one is given."""
    names = [*mail.in_reply_to, *reversed(mail.references)]
    ids = list(dict.fromkeys(name for name in names if len(name) <= 200))[:_MOST_ANSWERED]
    rows = Email.objects.filter(message_id__in=ids)
    ours = {
        email.message_id: email
        for email in (rows.filter(thread=thread) if thread else rows)
        if _THREAD.fullmatch(email.thread)
    }
    return next((ours[name] for name in ids if name in ours), None)


def _speaks_for(client: Client, address: str, thread: str) -> bool:
    """Whether mail from that address is the client's: it is theirs, or was when they were written to. Once
    earlier links have been made worthless, what went to earlier addresses may have reached a stranger, who
    then has no voice either."""
    if not address:
        return False
    if address == client.email.lower():
        return True
    if grant_of(client).version > 1:
        return False
    return Email.objects.filter(
        thread=thread, way=Email.Way.EMAIL, to_address__iexact=address, done_at__isnull=False
    ).exists()


def _by_shop(
    mail: Heard, came_at: datetime, home: str, commission: Commission, thread: str, *, marked: bool
) -> Place | Aside:
    """An answer to what the shop was told about a commission: it is for the client, unless it was written to
    somebody else (a supplier who is asked for a price), or would arrive without what it carries."""
    person = _person(mail.from_address, home)
    if person is None:
        return Aside(
            Verdict.TRAY,
            f"It answers an email to you about {commission.number}, but comes from an address that is not "
            "yours.",
            thread,
        )
    if not marked and not _to_ourselves(mail, home, thread):
        return Aside(
            Verdict.TRAY,
            f"It answers an email to you about {commission.number}, but is not addressed to that "
            "conversation: it may be for somebody else, and is not sent to the client unasked.",
            thread,
        )
    if left := [one for one in mail.left_out if one not in mail.marks and not _SIGNATURE.search(one)]:
        return Aside(
            Verdict.TRAY,
            f"It answers an email to you about {commission.number}, and carries what cannot go on from here: "
            f"{'; '.join(left)}. Send that yourself, or let the words go alone.",
            thread,
        )
    own = cut(lines_of(mail.words)).words if mail.words else mail.pictures
    if not own:
        return Aside(
            Verdict.TRAY,
            f"It answers an email to you about {commission.number}, and nothing of your own stands in it. "
            "What it quotes or passes on is not sent to the client unasked.",
            thread,
        )
    return Place(commission, Who("owner", person.pk), by_shop=True, upto=read_upto(commission, mail, came_at))


def _to_ourselves(mail: Heard, home: str, thread: str) -> bool:
    """Whether an answer without a mark went where answers go: there are no marks, and it was written to
    nobody but the shop."""
    if tags.reply_address(thread) or not mail.written_to:
        return False
    return all(_person(address, home) is not None for address in mail.written_to)


def _person(address: str, home: str) -> User | None:
    """Whose address at the shop it is. The shop's own is that of whoever has been there longest."""
    people = User.objects.filter(is_active=True).order_by("pk")
    if not address:
        return None
    return people.filter(email__iexact=address).first() or (people.first() if address == home else None)


def read_upto(commission: Commission, mail: Heard, at: datetime) -> int:
    """The newest message of the client that waits, and stood in the email which somebody of the shop answers
    with this one or in one that had gone out before. Where that cannot be told, it is the last that had gone
    out by then. It ends before the first that nobody can have read: no answer counts for that."""
    thread = f"commission {commission.pk} shop"
    told = _answered(mail, thread) or (
        Email.objects.filter(thread=thread, state=Email.State.DONE, done_at__lte=at)
        .order_by("-done_at")
        .first()
    )
    if told is None:
        return 0
    waiting = Message.objects.filter(commission=commission, by_client=True, answered_at=None)
    stood = waiting.filter(
        Q(email=told)
        | Q(email_id__lte=told.pk, email__state=Email.State.DONE, email__done_at__lte=told.done_at or at)
        | Q(email=None, at__lte=told.made_at)
    )
    read, upto = set(stood.values_list("pk", flat=True)), 0
    for pk, seen_at in waiting.order_by("pk").values_list("pk", "seen_at"):
        if pk in read:
            upto = pk
        elif seen_at is None:
            break
    return upto


def _unknown(mail: Heard, home: str) -> Aside:
    if mail.from_address and clients_with_email(mail.from_address):
        return Aside(
            Verdict.TRAY,
            "It comes from the address of a client, and answers none of your emails.",
            _only_open(mail.from_address),
        )
    if home and mail.from_address == home:
        return Aside(Verdict.TRAY, "It comes from your own address, and answers none of your emails.")
    return Aside(Verdict.TRAY, "Nobody whom you know has the address that it comes from.")


def _only_open(address: str) -> str:
    """The thread of the one commission that is open for whoever has the address: a guess, and no more."""
    clients = clients_with_email(address) if address else []
    still_open = [one for one in all_of_clients(clients) if one.stage not in ENDS] if clients else []
    return f"commission {still_open[0].pk}" if len(still_open) == 1 else ""
