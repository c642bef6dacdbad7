"""Emails that came back or were refused, and addresses that take no mail (reports: RFC 3464; codes: RFC
3463)."""

from __future__ import annotations

import re
from collections.abc import Iterable

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from shopdesk.base.nudge import nudge
from shopdesk.base.refusals import Refused
from shopdesk.mail.actions import TASK
from shopdesk.mail.bounces import Bounce
from shopdesk.mail.claims import UNWORDED, give_up, release_members
from shopdesk.mail.models import DeadAddress, Email

_NO_SUCH_ADDRESS = re.compile(r"5\.1\.(0|1|2|3|6|10)", re.ASCII)
"""Something with the address, no such mailbox, no such host, no such form of address, a mailbox that is no
longer there (RFC 3463, 3.2), a domain that takes no mail at all (RFC 7505, 4.2). The others of 5.1 are about
the sender's address, or say that the recipient's is there."""
_WORDS = 600


@transaction.atomic
def came_back(email: Email, bounce: Bounce) -> str:
    """What a report about an email says, noted: one that did not arrive waits at the desk with its reason,
    one that is late only has a note. Where there is no such address, nothing is written to it any more until
    somebody says so (`alive`); that another does not exist, to which it was passed on or which it was before
    a correction, says nothing about it. Returns a sentence about it.

    A report on an email that has been put back in line since is of the try before: it changes nothing. Not to
    be asked about one that is being handed over this minute."""
    words = " ".join(bounce.words.split())[:_WORDS]
    now = timezone.now()
    tried = ~Q(state=Email.State.WAITING, tries=0) & ~Q(state=Email.State.UNDER_WAY)
    rows = Email.objects.filter(tried, pk=email.pk, way=Email.Way.EMAIL, came_back_at=None)
    if bounce.action != "failed":
        if bounce.action != "delayed":
            return "It tells that an email arrived, or was passed on."
        rows.filter(state=Email.State.DONE).update(trouble=f"It is late: {words}")
        return "An email is late; the mail server goes on trying."
    came = rows.update(
        state=Email.State.FAILED,
        done_at=now,
        came_back_at=now,
        gather="",
        trouble=f"It came back: {words}",
    )
    if came:
        release_members(email)
    named = bounce.address == email.to_address.strip().lower() if bounce.address else bounce.alone
    if came and named and no_such_address(bounce.status):
        _bury(email, words)
    return f"The email to {email.to_address} came back: {words}"


@transaction.atomic
def refused(email: Email, why: str, status: str) -> bool:
    """The shop's own mail server did not take a claimed email, for good; `status` is what it has against the
    recipient. Where it knows of no such address, that is kept as if it had come back. `False` when somebody
    else has taken the email over: then nothing changed."""
    ended = give_up(email, why)
    if ended and no_such_address(status):
        _bury(email, why)
    return ended


def no_such_address(status: str) -> bool:
    return _NO_SUCH_ADDRESS.fullmatch(status) is not None


def _bury(email: Email, why: str) -> None:
    """Keep that nothing arrives at an email's address. What waits for it becomes words to pass on. The
    shop's own address is none to give up: its emails stand at the desk."""
    address = email.to_address.strip().lower()
    if not address or address == email.from_address.strip().lower():
        return
    DeadAddress.objects.get_or_create(
        address=address, defaults={"since": timezone.now(), "why": why, "email": email}
    )
    waiting = Email.objects.filter(to_address__iexact=address, way=Email.Way.EMAIL, state=Email.State.WAITING)
    waiting.update(way=Email.Way.TELL, gather="", bundle=None, held_at=None, trouble="", **UNWORDED)


@transaction.atomic
def tell_instead(email: Email) -> None:
    """An email that did not go out, or came back, becomes words for the owner to pass on: as they went out
    where others went in it, else as one says them. Raises `Refused` for one that has not failed, or not any
    more."""
    words = {} if Email.objects.filter(bundle=email.pk).exists() else UNWORDED
    failed = Email.objects.filter(pk=email.pk, way=Email.Way.EMAIL, state=Email.State.FAILED)
    told = {
        "way": Email.Way.TELL,
        "state": Email.State.WAITING,
        "done_at": None,
        "gather": "",
        "bundle": None,
    }
    if not failed.update(**told, **words):
        raise Refused("That one did not fail, or not any more.")


def dead(addresses: Iterable[str]) -> dict[str, DeadAddress]:
    """Which of these addresses take no mail, by the address in small letters. One statement."""
    asked = {one.strip().lower() for one in addresses} - {""}
    return {one.address: one for one in DeadAddress.objects.filter(address__in=asked)} if asked else {}


def all_dead(most: int) -> list[DeadAddress]:
    """Addresses that take no mail, those found out last first."""
    return list(DeadAddress.objects.order_by("-since", "-id")[:most])


@transaction.atomic
def alive(address: str) -> int:
    """An address can be written to again. What still waited to be passed on for its sake is emailed. Returns
    how many emails that are."""
    address = address.strip().lower()
    if not DeadAddress.objects.filter(address=address).delete()[0]:
        return 0
    waiting = Email.objects.filter(
        to_address__iexact=address, way=Email.Way.TELL, told_at=None, state=Email.State.WAITING
    )
    count = waiting.update(
        way=Email.Way.EMAIL, due_at=timezone.now(), tries=0, put_off_since=None, trouble=""
    )
    if count:
        nudge(TASK)
    return count
