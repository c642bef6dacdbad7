"""The hours in which no email goes that can wait, and the shop's day, of which an address gets one.

Both are read off the shop's wall: a clock that is put forward or back changes when they begin and end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

MORNING = time(8)
"""When the next day's email goes where the quiet hours do not say it."""


@dataclass(frozen=True)
class Hours:
    """Quiet from one time to the other on the wall of `zone`, over midnight where the first is the later one;
    the same twice: at no time."""

    zone: tzinfo
    quiet_from: time
    quiet_until: time


_read: list[Callable[[], Hours]] = []


def register_hours(read: Callable[[], Hours]) -> None:
    """`read` says which hours hold now: the shop's."""
    _read[:] = [read]


def hours() -> Hours:
    """The shop's quiet hours; none where nobody knows of a shop."""
    return _read[0]() if _read else Hours(UTC, time(0), time(0))


def day_of(moment: datetime, hours: Hours) -> date:
    """The date on the shop's wall."""
    return moment.astimezone(hours.zone).date()


def quiet_until(moment: datetime, hours: Hours) -> datetime | None:
    """When the quiet hours end in which `moment` falls, in UTC; `None` outside of them."""
    end = moment
    while (next_end := _end_of_span(end, hours)) is not None:
        end = next_end  # a clock put forward may jump over the whole day between two nights
    return end.astimezone(UTC) if end != moment else None


def next_morning(moment: datetime, hours: Hours) -> datetime:
    """When the next day's email may go, in UTC: at the end of the night, or at eight."""
    over_midnight = hours.quiet_from > hours.quiet_until
    day = day_of(moment, hours) + timedelta(days=1)
    morning = _first(day, hours.quiet_until if over_midnight else MORNING, hours.zone, moment)
    return quiet_until(morning, hours) or morning.astimezone(UTC)


def _end_of_span(moment: datetime, hours: Hours) -> datetime | None:
    wall = moment.astimezone(hours.zone)
    day, at = wall.date(), wall.time()
    if hours.quiet_from < hours.quiet_until:
        quiet = hours.quiet_from <= at < hours.quiet_until
    elif hours.quiet_from > hours.quiet_until:
        quiet = at >= hours.quiet_from or at < hours.quiet_until
        day += timedelta(days=1 if at >= hours.quiet_from else 0)
    else:
        quiet = False
    return _first(day, hours.quiet_until, hours.zone, moment) if quiet else None


def _first(day: date, at: time, zone: tzinfo, after: datetime) -> datetime:
    """The first moment after another at which the wall shows that time of that day. Where the clock is put
    back it does so twice; where it is put forward over it, the moment of that is meant."""
    shown = datetime.combine(day, at)
    early, late = (shown.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    if late < early:  # never shown (PEP 495: the first is reckoned by the old offset, the second by the new)
        return _put_forward(late, early, zone)
    return early if early > after else late


def _put_forward(before: datetime, behind: datetime, zone: tzinfo) -> datetime:
    """The moment between two, to the second, at which the clock is put forward."""
    old = before.astimezone(zone).utcoffset()
    while behind - before > timedelta(seconds=1):
        middle = before + (behind - before) // 2
        if middle.astimezone(zone).utcoffset() == old:
            before = middle
        else:
            behind = middle
    return behind.replace(microsecond=0)
