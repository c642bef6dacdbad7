"""Switching off, and on again, what need not be sent: all emails about progress or all reminders of a client,
and one kind of reminder for the shop, for a client or for a commission. What is necessary always goes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.clients.stopping import COLUMN, Sort, is_off
from shopdesk.commissions import reminders
from shopdesk.commissions.models import Commission, Letter, ReminderOff
from shopdesk.commissions.stages import ENDS, write_line
from shopdesk.mail import still
from shopdesk.mail.catalogue import about, kinds
from shopdesk.mail.models import Email

SAID: dict[Sort, str] = {"news": "emails about progress", "reminder": "reminders"}


@transaction.atomic
def switch(clients: Iterable[Client], sort: Sort, *, on: bool, who: Who) -> bool:
    """Switch all emails of a sort off or on for these clients. Switching off what is off changes nothing.
    Returns whether anything changed; the clients show what holds now."""
    column, now, changed = COLUMN[sort], timezone.now(), False
    for client in clients:
        rows = Client.objects.filter(pk=client.pk, **{f"{column}__isnull": not on})
        if rows.update(**{column: None if on else now}):
            setattr(client, column, None if on else now)
            _note(client, f"{sort} {'on' if on else 'off'}", f"{SAID[sort].capitalize()} switched", on, who)
            changed = True
    return changed


@transaction.atomic
def switch_kind(
    kind: str,
    *,
    on: bool,
    who: Who,
    client: Client | None = None,
    commission: Commission | None = None,
) -> None:
    """Switch one kind of reminder off or on: for a client, for a commission, or (neither named) for the whole
    shop. Raises `Refused` for a kind that there is not."""
    if kind not in {one.kind for one in reminders.kinds()}:
        raise Refused("There is no such reminder.")
    whose: dict[str, Any] = {"kind": kind, "client": client, "commission": commission}
    if on:
        changed = bool(ReminderOff.objects.filter(**whose).delete()[0])
    else:
        changed = ReminderOff.objects.get_or_create(**whose)[1]
    said = f"The reminder “{about(kind).title}” switched"
    if changed and commission is not None:
        _line(commission, f"reminder {'on' if on else 'off'}", said, on, who)
    elif changed and client is not None:
        _note(client, f"reminder {'on' if on else 'off'}", said, on, who)


def _note(client: Client, verb: str, said: str, on: bool, who: Who) -> None:
    """A line in the journal of each commission that is still open, or of the latest when none is."""
    theirs = Commission.objects.filter(client=client).order_by("-requested_at", "-id")
    for commission in list(theirs.exclude(stage__in=ENDS)) or list(theirs[:1]):
        _line(commission, verb, said, on, who)


def _line(commission: Commission, verb: str, said: str, on: bool, who: Who) -> None:
    write_line(commission, who, verb, f"{said} {'on' if on else 'off'}")


def kinds_off(*, client: Client | None = None, commission: Commission | None = None) -> set[str]:
    """The kinds of reminder that are switched off for a client, for a commission, or for the whole shop."""
    rows = ReminderOff.objects.filter(client=client, commission=commission)
    return set(rows.values_list("kind", flat=True))


def wanted(email: Email) -> bool:
    """Whether its client still wants news of their piece (`shopdesk.mail.still`)."""
    letter = Letter.objects.select_related("commission__client").filter(email=email, to_client=True).first()
    return letter is None or not is_off(letter.commission.client, Email.Sort.NEWS)


def ask_before_sending() -> None:
    """What waits in the outbox when it is switched off is not sent either."""
    for kind in kinds():
        if about(kind).sort == Email.Sort.NEWS:
            still.register(kind, wanted)
