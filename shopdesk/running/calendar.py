"""Another date for the demo: its story runs over some weeks, and is played in a minute.

Everything in the house asks `django.utils.timezone.now()`, and columns that are stamped have it as their
default. `Calendar` puts a clock of its own in both places, and writes down how far it is behind in a file, by
which the demo's other processes go (`follow`): a worker keeps to the story's nights and days.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from django.apps import apps
from django.conf import settings
from django.utils import timezone

from shopdesk.base import files

DEMO = "SHOPDESK_DEMO"
"""Names the demo's folder to the processes that run in it."""
_REAL = timezone.now


def _file() -> Path:
    return Path(settings.VAR) / "story-clock"


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
        files.put(_file(), str(self._behind.total_seconds()).encode())

    def days_ago(self, days: int, hour: int, minute: int = 0) -> None:
        """It is now so many days before today, at that time of the shop's day."""
        day = _REAL().astimezone(self.zone).date() - timedelta(days=days)
        self.turn_to(datetime.combine(day, time(hour, minute), self.zone))


@contextmanager
def story_time(zone: ZoneInfo) -> Iterator[Calendar]:
    """Within this block the house goes by the story's clock."""
    calendar = Calendar(zone)
    put = _putter()
    put(calendar.now)
    try:
        yield calendar
    finally:
        put(_REAL)
        _file().unlink(missing_ok=True)


def follow() -> None:
    """From here on this process goes by the clock of the story that is being played in the same folder, and
    by the real one when none is."""

    def now() -> datetime:
        with suppress(OSError, ValueError):
            return _REAL() - timedelta(seconds=float(_file().read_text()))
        return _REAL()

    _putter()(now)


def _putter() -> Callable[[Callable[[], datetime]], None]:
    stamped = [
        field for model in apps.get_models() for field in model._meta.local_fields if field.default is _REAL
    ]

    def put(now: Callable[[], datetime]) -> None:
        timezone.now = now
        for field in stamped:
            field.default = now
            field.__dict__.pop("_get_default", None)

    return put
