"""The piece in the shop: checked in, worked on, drying, ready, handed over; and on hold or cancelled."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.actions import set_facts
from shopdesk.commissions.letters import said_pieces, to_client
from shopdesk.commissions.models import Commission, Shot, Stage
from shopdesk.commissions.shown import AT_ONCE, shown
from shopdesk.commissions.stages import COLOUR, advance, locked, step_past, write_line
from shopdesk.deposits.actions import book_if_paid, settle_cancelled
from shopdesk.deposits.invoices import when_ready
from shopdesk.deposits.words import due_words
from shopdesk.mail.actions import Enclose
from shopdesk.shop.queries import the_shop, today_at


@transaction.atomic
def check_in(commission: Commission, on: date, who: Who, *, note: str = "", past: str = "") -> None:
    """The piece has come in, on that day. Not in the future, not before it was asked for."""
    now, shop = locked(commission.pk), the_shop()
    if on > today_at(shop):
        raise Refused("That day has not come yet.", field="on")
    if on < timezone.localdate(now.requested_at, shop.tz):
        raise Refused("That is before the client asked.", field="on")
    set_facts(commission, checked_in_on=on)
    advance(commission, Stage.CHECKED_IN, who, note=note, past=past)
    to_client(commission, "checked-in", {})


@transaction.atomic
def begin_work(commission: Commission, who: Who, *, note: str = "") -> None:
    """On the bench, from check-in, from drying, or back from ready when something was found."""
    advance(commission, Stage.IN_WORK, who, note=note)


@transaction.atomic
def set_to_dry(commission: Commission, who: Who, *, note: str = "") -> None:
    advance(commission, Stage.DRYING, who, note=note)


@transaction.atomic
def first_coat(commission: Commission, who: Who, *, past: str = "") -> None:
    """The first coat of colour goes on. Where the quote promises a sample it waits for the client's yes;
    the owner may step past that with a reason."""
    now = locked(commission.pk)
    if now.stage not in (Stage.IN_WORK, Stage.DRYING):
        raise Refused("The piece is not on the bench.")
    if now.first_coat_at is not None:
        raise Refused("The first coat of colour is on already.")
    reason = step_past(now, (COLOUR,), who, past)
    set_facts(commission, first_coat_at=timezone.now())
    write_line(now, who, "first coat", "First coat of colour", for_client=True, reason=reason)


@transaction.atomic
def make_ready(commission: Commission, who: Who, *, note: str = "", past: str = "") -> None:
    """Dry enough to move and use gently. The client is asked to book a pickup, and gets the invoice."""
    advance(commission, Stage.READY, who, note=note, past=past)
    invoice = when_ready(commission, who)
    context = {"invoice": "yes" if invoice else "", "due": due_words(commission)}
    to_client(commission, "ready", context, enclose=[*invoice, *_finished(commission)])


def _finished(commission: Commission) -> list[Enclose]:
    """The last pictures of the finished piece, as the email shows them."""
    final = Shot.objects.filter(commission=commission, kind=Shot.Kind.FINAL, for_client=True)
    latest = list(final.select_related("picture").order_by("-id")[:AT_ONCE])
    pieces = said_pieces([piece.name for piece in commission.pieces.all()])
    return shown([shot.picture for shot in reversed(latest)], f"Finished: {pieces}")


@transaction.atomic
def hand_over(commission: Commission, who: Who, *, note: str = "", past: str = "") -> None:
    """The piece goes home. The balance is settled, or the owner says why it goes all the same."""
    advance(commission, Stage.COLLECTED, who, note=note, past=past)
    to_client(commission, "collected", {})


@transaction.atomic
def hold(commission: Commission, reason: str, who: Who, *, tell: bool = True) -> None:
    if not reason.strip():
        raise Refused("Say why it waits.", field="note")
    advance(commission, Stage.ON_HOLD, who, note=reason)
    if tell:
        to_client(commission, "on-hold", {"reason": reason.strip()})


@transaction.atomic
def take_up_again(commission: Commission, who: Who, *, note: str = "") -> None:
    """Back from On hold to where it was; to Booked, when the deposit has come in meanwhile."""
    now = locked(commission.pk)
    if now.stage != Stage.ON_HOLD:
        raise Refused("It is not on hold.")
    advance(commission, Stage(now.held_from), who, note=note)
    book_if_paid(commission, who)


@transaction.atomic
def book_place(commission: Commission, who: Who) -> None:
    """Book the place of a commission whose deposit is there."""
    if not book_if_paid(commission, who):
        raise Refused("The deposit is not in yet, or the place is booked already.")


@transaction.atomic
def cancel(
    commission: Commission,
    reason: str,
    who: Who,
    *,
    give_back: Decimal = Decimal(0),
    how: str = "",
    on: date | None = None,
) -> None:
    """End the commission by either side's wish. Of what was received, `give_back` is returned and the rest
    kept, as the terms say; both go into the ledger, and nothing more is due."""
    if not reason.strip():
        raise Refused("Say who cancels and why.", field="reason")
    advance(commission, Stage.CANCELLED, who, note=reason)
    settled = settle_cancelled(commission, give_back, who, how=how, on=on or today_at(the_shop()))
    to_client(commission, "cancelled", {"reason": reason.strip(), "money": settled})
