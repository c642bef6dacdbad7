"""The one shop, and when it is open."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from itertools import groupby
from zoneinfo import ZoneInfo

from django.utils import timezone

from shopdesk.craft.slots import DayException, Window
from shopdesk.mail.holding import Hours
from shopdesk.shop.models import DifferentDay, OpeningWindow, Shop


class NoShop(Exception):
    """Nothing has been set up yet."""


def shop_or_none() -> Shop | None:
    return Shop.objects.first()


def the_shop() -> Shop:
    """The shop. Raises `NoShop` before it has been set up."""
    shop = shop_or_none()
    if shop is None:
        raise NoShop
    return shop


def today_at(shop: Shop) -> date:
    """The date it is at the shop, wherever the server, the worker or whoever asks stands."""
    return timezone.localdate(timezone=shop.tz)


def quiet_hours() -> Hours:
    """When no email goes that can wait. Before a shop is set up nothing is written to anybody."""
    shop = shop_or_none()
    return Hours(shop.tz, shop.quiet_from, shop.quiet_until) if shop else Hours(UTC, time(0), time(0))


def day_begins(day: date, zone: ZoneInfo) -> datetime:
    """The moment at which a date begins on the shop's wall, in UTC."""
    return datetime.combine(day, time(0), zone).astimezone(UTC)


def windows() -> list[Window]:
    """The hours of every week, by weekday and time."""
    return [Window(row.weekday, row.opens, row.closes) for row in OpeningWindow.objects.all()]


def exceptions(first: date) -> list[DayException]:
    """The dates from `first` on, on which other hours hold or none, in order."""
    rows = DifferentDay.objects.filter(day__gte=first)
    return [
        DayException(
            day,
            tuple(
                (row.opens, row.closes) for row in hours if row.opens is not None and row.closes is not None
            ),
        )
        for day, hours in groupby(rows, key=lambda row: row.day)
    ]


def different_days(first: date) -> list[tuple[DayException, str]]:
    """The same dates, each with its note."""
    notes = dict(DifferentDay.objects.filter(day__gte=first).values_list("day", "note"))
    return [(one, notes.get(one.day, "")) for one in exceptions(first)]
