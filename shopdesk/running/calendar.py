"""Another date for the demo: its story runs over some weeks, and is played in a minute.

Everything in the house asks `django.utils.timezone.now()`, and columns that are stamped have it as their
default. `Calendar` puts a clock of its own in both places, in this process only; workers go by the real
one.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.apps import apps
from django.utils import timezone

_REAL = timezone.now


class Calendar:
    """The story's clock. It moves on by itself as the real one does, and is never ahead of it."""

    def __init__(self, zone: ZoneInfo) -> None:
        self.zone = zone
        self._behind = timedelta()

    def now(self) -> datetime:
        return _REAL() - self._behind

    def turn_to(self, at: datetime) -> None:
        """It is now `at` (aware). A moment still to come is today instead."""
        self._behind = max(_REAL() - at, timedelta())

    def days_ago(self, days: int, hour: int, minute: int = 0) -> None:
        """It is now so many days before today, at that time of the shop's day."""
        day = _REAL().astimezone(self.zone).date() - timedelta(days=days)
        self.turn_to(datetime.combine(day, time(hour, minute), self.zone))


@contextmanager
def story_time(zone: ZoneInfo) -> Iterator[Calendar]:
    """Within this block the house goes by the story's clock."""
    calendar = Calendar(zone)
    stamped = [
        field for model in apps.get_models() for field in model._meta.local_fields if field.default is _REAL
    ]

    def put(now: object) -> None:
        timezone.now = now  # type: ignore[assignment]
        for field in stamped:
            field.default = now
            field.__dict__.pop("_get_default", None)

    put(calendar.now)
    try:
        yield calendar
    finally:
        put(_REAL)
