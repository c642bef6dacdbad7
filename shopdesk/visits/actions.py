"""Booking, moving and cancelling a drop-off, a pickup or a site visit; and putting away what is over."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import THE_SHOP, Who
from shopdesk.clients.actions import note_address
from shopdesk.commissions.actions import answered
from shopdesk.commissions.letters import said_pieces, to_client, to_shop
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.reminders import needs_none
from shopdesk.commissions.stages import locked, write_line
from shopdesk.craft.slots import Slot, cells
from shopdesk.mail.actions import Enclose
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import day_begins, shop_or_none, the_shop
from shopdesk.visits import queries
from shopdesk.visits.calendar import Entry, Method, ics
from shopdesk.visits.models import Cell, Offer, Visit
from shopdesk.visits.reminders import VISIT_REMINDER, occasion_of
from shopdesk.visits.words import WHAT, ask_us, place_lines, said_time, where

GONE = "That time has just gone. These are free."
_WHEN = {
    Visit.Kind.DROP_OFF: (Stage.BOOKED,),
    Visit.Kind.PICKUP: (Stage.READY,),
    Visit.Kind.SITE: (Stage.REQUESTED, Stage.QUOTED),
}
"""At which stages each can be booked."""
_BACK_ON_THE_BENCH = (Stage.IN_WORK, Stage.DRYING)
_ENDED = (Stage.DECLINED, Stage.WITHDRAWN, Stage.CANCELLED)


@transaction.atomic
def book(commission: Commission, kind: str, starts_at: datetime, who: Who, *, address: str = "") -> Visit:
    """Book a free time for a visit of that kind, or move the one that stands there, which stays the same
    visit in calendars. A site visit is at the client's address: `address` is kept as theirs where none is
    known yet, and without any there is nowhere to go.

    Raises `Refused` when it is not the time for that kind of visit, when the notice limit of the booked one
    has passed (for a client), and when `starts_at` (aware) is not among the free times any more: the cells'
    unique start decides between two at once."""
    now, shop, kind = timezone.now(), the_shop(), Visit.Kind(kind)
    current = locked(commission.pk)
    if why_not := not_now(current, kind):
        raise Refused(why_not)
    if kind == Visit.Kind.SITE:
        note_address(current.client, address)
        commission.client.address = current.client.address
        if not current.client.address_lines:
            raise Refused("Where is it? Write the address, as on an envelope.", field="address")
    visit = queries.booked(current, kind)
    if visit is not None:
        if visit.starts_at == starts_at:
            return visit
        _in_time(shop, visit, who, now)
    slot = _free_slot(shop, starts_at, now, who, visit)
    was = said_time(shop, visit.starts_at, visit.ends_at) if visit else ""
    soon = slot.start < _day_after_next(shop, now)
    values = {"starts_at": slot.start, "ends_at": slot.end}
    try:
        with transaction.atomic():
            if visit is None:
                visit = Visit.objects.create(commission=current, kind=kind, **values)
            else:
                Cell.objects.filter(visit=visit).delete()
                Visit.objects.filter(pk=visit.pk).update(sequence=F("sequence") + 1, **values)
                visit.refresh_from_db()
            Cell.objects.bulk_create(
                Cell(starts_at=cell, visit=visit) for cell in cells(slot.start, slot.end)
            )
    except IntegrityError as error:
        raise Refused(GONE, field="start") from error
    if soon:  # the confirmation of a visit tomorrow is its reminder as well
        needs_none(current, VISIT_REMINDER.kind, occasion_of(visit))
    when = said_time(shop, slot.start, slot.end)
    line = f"{WHAT[kind]} moved to {when}" if was else f"{WHAT[kind]} booked: {when}"
    write_line(current, who, f"{kind.label} {'moved' if was else 'booked'}", line, for_client=True)
    _tell(shop, current, visit, who, "moved" if was else "booked", was)
    return visit


@transaction.atomic
def cancel(visit: Visit, who: Who) -> None:
    """Give the time back. Raises `Refused` when it does not stand any more, and for a client once the notice
    limit has passed."""
    shop = the_shop()
    current = locked(visit.commission_id)
    visit.refresh_from_db()
    if visit.state != Visit.State.BOOKED:
        raise Refused("That visit does not stand any more.")
    _in_time(shop, visit, who, timezone.now())
    _call_off(shop, current, visit, who, "")


@transaction.atomic
def offer_site_visit(commission: Commission, who: Who) -> Offer:
    """The owner offers to come and look: the client is written to, and their page leads to the free times.
    Offering twice is offering once."""
    current = locked(commission.pk)
    if why_not := not_now(current, Visit.Kind.SITE):
        raise Refused(why_not)
    if queries.booked(current, Visit.Kind.SITE):
        raise Refused("A time to come and look is booked already.")
    offer, new = Offer.objects.get_or_create(commission=current)
    if new:
        write_line(current, who, "site visit offered", "The shop offers to come and look", for_client=True)
        page = reverse("portal:visit", args=[current.number, Visit.Kind.SITE.value])
        to_client(current, "visit-offer", {"reach": ask_us(the_shop())}, path=page)
        answered(current)
    return offer


def not_now(commission: Commission, kind: str) -> str:
    """Why a visit of that kind cannot be booked as the commission stands, in a sentence; "" when it can."""
    stage = commission.stage
    if stage in _WHEN[Visit.Kind(kind)]:
        return ""
    if stage in _ENDED:
        return "This commission has ended."
    if kind == Visit.Kind.SITE:
        return "The price is agreed. There is nothing left to look at beforehand."
    if stage == Stage.ON_HOLD:
        return "The work is on hold. A time can be chosen once it goes on."
    if stage == Stage.COLLECTED:
        return "The piece has gone home already."
    if kind == Visit.Kind.PICKUP:
        return "A time to fetch it can be chosen once it is ready."
    if commission.checked_in_on is not None:
        return "The piece is here already."
    return "A time to bring it can be chosen once the place in the queue is booked."


def too_late(shop: Shop, visit: Visit, now: datetime) -> str:
    """Why a client can no longer move or cancel a visit themselves, in a sentence; "" while they can."""
    if now <= visit.starts_at - timedelta(hours=shop.notice_hours):
        return ""
    return f"It is too close to the visit to change it here. {ask_us(shop)}"


def _in_time(shop: Shop, visit: Visit, who: Who, now: datetime) -> None:
    if not who.is_owner and (late := too_late(shop, visit, now)):
        raise Refused(late)


def _free_slot(shop: Shop, starts_at: datetime, now: datetime, who: Who, moving: Visit | None) -> Slot:
    if starts_at <= now:
        raise Refused("That time is over. These are free.", field="start")
    day = starts_at.astimezone(shop.tz).date()
    offered = queries.free(now, days=(day, day), for_owner=who.is_owner, moving=moving)
    slot = next((slot for slot in offered if slot.start == starts_at), None)
    if slot is None:
        raise Refused(GONE, field="start")
    return slot


def _day_after_next(shop: Shop, now: datetime) -> datetime:
    return day_begins(now.astimezone(shop.tz).date() + timedelta(days=2), shop.tz)


def _call_off(shop: Shop, commission: Commission, visit: Visit, who: Who, why: str) -> None:
    """`why` is for the client to read, as the end of a sentence; it may be empty."""
    was = said_time(shop, visit.starts_at, visit.ends_at)
    Cell.objects.filter(visit=visit).delete()
    Visit.objects.filter(pk=visit.pk).update(state=Visit.State.CANCELLED, sequence=F("sequence") + 1)
    visit.refresh_from_db()
    write_line(
        commission,
        who,
        f"{Visit.Kind(visit.kind).label} cancelled",
        f"{WHAT[Visit.Kind(visit.kind)]} on {was} cancelled{f': {why}' if why else ''}",
        for_client=True,
    )
    _tell(shop, commission, visit, who, "cancelled", was, why)


def _why_called_off(commission: Commission, visit: Visit) -> str:
    """What the client is told when the shop calls a visit off because of where the commission stands."""
    many = len(commission.pieces.all()) > 1
    if commission.stage == Stage.ON_HOLD:
        return "the work is on hold"
    if visit.kind == Visit.Kind.PICKUP and commission.stage in _BACK_ON_THE_BENCH:
        return "they are not ready after all" if many else "it is not ready after all"
    return ""


def _tell(
    shop: Shop, commission: Commission, visit: Visit, who: Who, change: str, was: str, why: str = ""
) -> None:
    """The client gets the time with a file for their calendar; the shop hears what a client has changed."""
    what = WHAT[Visit.Kind(visit.kind)].lower()
    when = said_time(shop, visit.starts_at, visit.ends_at)
    context = {
        "what": what,
        "change": change,
        "when": when,
        "was": was,
        **where(shop, commission, visit.kind),
        "reach": ask_us(shop),
        "why": why,
        "enclosed": bool(commission.client.email),
        "again": change == "cancelled" and not not_now(commission, visit.kind),
    }
    cancelled = change == "cancelled"
    to_client(
        commission,
        "visit-cancelled" if cancelled else "visit",
        context,
        path=reverse("portal:visit", args=[commission.number, visit.kind]) if context["again"] else "",
        enclose=[_enclosed(shop, commission, visit, "CANCEL" if cancelled else "REQUEST")]
        if commission.client.email
        else (),
    )
    if who.kind == "client":
        to_shop(commission, "visit-changed", context)


def calendar_file(shop: Shop, commission: Commission, visit: Visit, method: Method = "PUBLISH") -> str:
    """The visit as iCalendar text: to show (a download), to take up or move (`REQUEST`), to take out
    (`CANCEL`)."""
    what, client = WHAT[Visit.Kind(visit.kind)], commission.client
    lines = place_lines(shop, commission, visit.kind)
    pieces = said_pieces([piece.name for piece in commission.pieces.all()])
    entry = Entry(
        uid=visit.uid,
        sequence=visit.sequence,
        starts_at=visit.starts_at,
        ends_at=visit.ends_at,
        summary=f"{what}: {pieces}",
        location=", ".join(lines if visit.kind == Visit.Kind.SITE else [shop.name, *lines]),
        words=f"Commission {commission.number}. {ask_us(shop)}",
        shop_name=shop.name,
        shop_email=shop.email,
        client_name=client.name,
        client_email=client.email,
    )
    return ics(entry, method, timezone.now())


def _enclosed(shop: Shop, commission: Commission, visit: Visit, method: Method) -> Enclose:
    return Enclose(
        filename=f"{visit.kind}.ics",
        mime=f"text/calendar; method={method}",
        text=calendar_file(shop, commission, visit, method),
    )


# -- what a worker does ------------------------------------------------------------------------------------


def look_after() -> None:
    """Put away what is over. Runs with every sweep; nothing is done twice."""
    shop = shop_or_none()
    if shop is not None:
        put_away(shop, timezone.now())


def put_away(shop: Shop, now: datetime) -> None:
    """A booked visit is done when the piece has changed hands, or when its day is over; the page then asks
    for a new time, should the piece still have to come or go. A visit to come is cancelled, and the client
    told, when the commission has ended or is on hold, and a pickup when the piece is back on the bench."""
    today = day_begins(now.astimezone(shop.tz).date(), shop.tz)
    standing = Visit.objects.filter(state=Visit.State.BOOKED)
    off = Q(commission__stage__in=(*_ENDED, Stage.ON_HOLD))
    off |= Q(kind=Visit.Kind.PICKUP, commission__stage__in=_BACK_ON_THE_BENCH)
    changed_hands = Q(kind=Visit.Kind.DROP_OFF, commission__checked_in_on__isnull=False) | Q(
        kind=Visit.Kind.PICKUP, commission__collected_at__isnull=False
    )
    changed_hands |= Q(kind=Visit.Kind.SITE, commission__checked_in_on__isnull=False)
    over = changed_hands | Q(ends_at__lt=today) | (off & Q(starts_at__lte=now))
    for pk in list(standing.filter(off | over).values_list("pk", flat=True)):
        with transaction.atomic():
            # Locked before the visit is looked at again: somebody may be moving or cancelling it.
            commission = locked(Visit.objects.values_list("commission_id", flat=True).get(pk=pk))
            visit = standing.filter(pk=pk).filter(off | over).first()
            if visit is None:
                continue
            if standing.filter(pk=pk).filter(over).update(state=Visit.State.DONE):
                Cell.objects.filter(visit=visit).delete()
            else:
                _call_off(shop, commission, visit, THE_SHOP, _why_called_off(commission, visit))
