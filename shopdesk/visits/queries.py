"""Booked visits, and the times that are free."""

from __future__ import annotations

from collections.abc import Iterable, Set
from datetime import date, datetime, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from shopdesk.commissions.models import Commission
from shopdesk.craft.slots import Slot, free_slots
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import day_begins, exceptions, the_shop, windows
from shopdesk.visits.models import Cell, Offer, Visit


def visits_of(commission: Commission) -> list[Visit]:
    """Every visit of a commission, in the order of their times, those that were cancelled included."""
    return list(Visit.objects.filter(commission=commission).order_by("starts_at", "id"))


def booked(commission: Commission, kind: str) -> Visit | None:
    """The one visit of that kind that stands."""
    return Visit.objects.filter(commission=commission, kind=kind, state=Visit.State.BOOKED).first()


def handed_over_on_a_day(commission_ids: Iterable[int]) -> set[int]:
    """Of these commissions, those with a drop-off or a pickup that stands. One statement."""
    rows = Visit.objects.filter(state=Visit.State.BOOKED, commission__in=list(commission_ids))
    return set(rows.exclude(kind=Visit.Kind.SITE).values_list("commission_id", flat=True))


def offered(commission: Commission) -> bool:
    """Whether the shop has offered to come and look."""
    return Offer.objects.filter(commission=commission).exists()


def coming(shop: Shop, first: date, last: date) -> list[Visit]:
    """The booked visits of the shop's days from `first` to `last`, both included, with commission and
    client."""
    zone = shop.tz
    return list(
        Visit.objects.filter(
            state=Visit.State.BOOKED,
            starts_at__gte=day_begins(first, zone),
            starts_at__lt=day_begins(last + timedelta(days=1), zone),
        )
        .select_related("commission__client")
        .order_by("starts_at", "id")
    )


def free(
    now: datetime,
    *,
    days: tuple[date, date] | None = None,
    for_owner: bool = False,
    moving: Visit | None = None,
) -> list[Slot]:
    """The times that can be booked, in order, from today as far ahead as the shop takes bookings, or on
    `days` of those (the shop's dates, both included). Every kind of visit takes the same hours.

    The owner is not held to the notice. What the visit that is being moved takes up itself counts as free.
    """
    shop = the_shop()
    first, last = span(shop, now)
    if days is not None:
        first, last = max(first, days[0]), min(last, days[1])
    if last < first:
        return []
    return free_slots(
        windows(),
        exceptions(first),
        shop.tz,
        shop.slot_minutes,
        timedelta(hours=0 if for_owner else shop.notice_hours),
        now,
        (first, last),
        _taken(first, last, shop.tz, moving),
    )


def span(shop: Shop, now: datetime) -> tuple[date, date]:
    """The first and the last of the shop's dates that can be booked."""
    today = now.astimezone(shop.tz).date()
    return today, today + timedelta(days=shop.book_days_ahead)


def by_day(slots: Iterable[Slot], zone: ZoneInfo) -> list[tuple[date, list[Slot]]]:
    """Slots under the shop's date on which each begins."""
    return [
        (day, list(of_day))
        for day, of_day in groupby(slots, key=lambda slot: slot.start.astimezone(zone).date())
    ]


def _taken(first: date, last: date, zone: ZoneInfo, moving: Visit | None) -> Set[datetime]:
    cells = Cell.objects.filter(
        starts_at__gte=day_begins(first, zone), starts_at__lt=day_begins(last + timedelta(days=2), zone)
    )
    if moving is not None:
        cells = cells.exclude(visit=moving)
    return set(cells.values_list("starts_at", flat=True))
