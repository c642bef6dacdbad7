"""Free drop-off and pickup times, right across a clock change. Time is handed in; what comes back is UTC.

A day is looked at in quarter-hour cells of real time. A cell belongs to an opening window when the clock on
the shop's wall, at its start, reads a time inside the window and there is room for the quarter hour. Slots
are laid end to end over each unbroken run of cells. So an hour that the clocks skip is not there to be
offered, an hour that they repeat is there twice, as two different instants, and a slot always lasts as long
as it says.
"""

from collections.abc import Iterable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

QUARTER = timedelta(minutes=15)
LONGEST_SEARCH = 366
"""Days that one call looks at, at most."""


@dataclass(frozen=True)
class Window:
    """Open every week on `weekday` (0 = Monday), from `opens` to `closes` on the shop's wall clock.

    A closing time of 00:00 is the end of the day. Times between quarter hours count from the next one inside.
    """

    weekday: int
    opens: time
    closes: time

    def __post_init__(self) -> None:
        if not 0 <= self.weekday <= 6:
            raise ValueError("A weekday is a number from 0 (Monday) to 6 (Sunday).")
        _check_span(self.opens, self.closes)


@dataclass(frozen=True)
class DayException:
    """The hours of one date, in place of its weekday's; none means closed."""

    day: date
    windows: tuple[tuple[time, time], ...] = ()

    def __post_init__(self) -> None:
        for opens, closes in self.windows:
            _check_span(opens, closes)


@dataclass(frozen=True, order=True)
class Slot:
    """From `start` up to, not including, `end`; both aware, in UTC."""

    start: datetime
    end: datetime


def cells(start: datetime, end: datetime) -> list[datetime]:
    """The quarter hours (their starts, aware, in UTC) that the time from `start` up to `end` touches.

    What a booking claims, one row a cell under a unique constraint: two bookings that overlap share a cell,
    whatever the slot length was when each was made. Raises `ValueError` for naive times or an end that is not
    after the start.
    """
    first, last = _utc(start, "A booking's start"), _utc(end, "A booking's end")
    if last <= first:
        raise ValueError("A booking ends after it starts.")
    cell = _quarter(first)
    claimed = []
    while cell < last:
        claimed.append(cell)
        cell += QUARTER
    return claimed


def free_slots(
    windows: Sequence[Window],
    exceptions: Sequence[DayException],
    zone: ZoneInfo,
    slot_minutes: int,
    notice: timedelta,
    now: datetime,
    days: tuple[date, date],
    taken_cells: AbstractSet[datetime],
) -> list[Slot]:
    """The slots that can be booked on the shop's dates `days` (first and last, both included), in order.

    A slot is free when it starts at least `notice` after `now` and none of its cells is in `taken_cells`
    (aware starts of quarter hours, as `cells` gives them). Slots never overlap, also where windows do. A date
    with an exception has that exception's hours only (the last one, should there be several).
    Raises `ValueError` for a slot length that is not a multiple of 15 minutes up to a day, a notice below
    zero, a naive `now`, or more than a year of days.
    """
    if slot_minutes <= 0 or slot_minutes % 15 or slot_minutes > 24 * 60:
        raise ValueError("A slot lasts a multiple of 15 minutes, up to a day.")
    if notice < timedelta(0):
        raise ValueError("The notice cannot be below zero.")
    first, last = days
    if (last - first).days >= LONGEST_SEARCH:
        raise ValueError("Free times are looked up for a year at most.")
    earliest = _utc(now, "The time now") + notice
    special = {exception.day: exception.windows for exception in exceptions}
    weekly = [
        [(window.opens, window.closes) for window in windows if window.weekday == weekday]
        for weekday in range(7)
    ]
    length = timedelta(minutes=slot_minutes)

    free = []
    for ordinal in range(first.toordinal(), last.toordinal() + 1):
        day = date.fromordinal(ordinal)
        hours = special.get(day, weekly[day.weekday()])
        for run in _runs(day, sorted(hours), zone):
            start = run[0]
            while start + length <= run[-1] + QUARTER:
                slot = Slot(start, start + length)
                if start >= earliest and taken_cells.isdisjoint(cells(slot.start, slot.end)):
                    free.append(slot)
                start += length
    return sorted(free)


def is_free(
    start: datetime,
    windows: Sequence[Window],
    exceptions: Sequence[DayException],
    zone: ZoneInfo,
    slot_minutes: int,
    notice: timedelta,
    now: datetime,
    taken_cells: AbstractSet[datetime],
) -> bool:
    """Is `start` (aware) the start of one of its day's `free_slots`? The same rule, asked about one slot."""
    wanted = _utc(start, "A slot's start")
    day = wanted.astimezone(zone).date()
    offered = free_slots(windows, exceptions, zone, slot_minutes, notice, now, (day, day), taken_cells)
    return wanted in {slot.start for slot in offered}


def _runs(day: date, hours: Sequence[tuple[time, time]], zone: ZoneInfo) -> Iterator[list[datetime]]:
    """The unbroken runs of cells of `day` inside one of `hours`; a cell in two of them is the earlier's."""
    if not hours:
        return

    def place(cell: datetime) -> int | None:
        local = cell.astimezone(zone)
        if local.date() != day:
            return None
        minute = local.hour * 60 + local.minute
        for index, (opens, closes) in enumerate(hours):
            if _minutes(opens) <= minute and minute + 15 <= _closing(closes):
                return index
        return None

    for index, run in groupby(_quarters_around(day, zone), key=place):
        if index is not None:
            yield list(run)


def _quarters_around(day: date, zone: ZoneInfo) -> Iterable[datetime]:
    """Every quarter hour of the local `day`, and some around it, for the days that clocks make longer."""
    midnight = _quarter(datetime.combine(day, time(0), zone).astimezone(UTC))
    return (midnight + count * QUARTER for count in range(-3 * 4, 28 * 4))


def _quarter(moment: datetime) -> datetime:
    return moment.replace(minute=moment.minute - moment.minute % 15, second=0, microsecond=0)


def _utc(moment: datetime, what: str) -> datetime:
    if moment.utcoffset() is None:
        raise ValueError(f"{what} needs a time zone.")
    return moment.astimezone(UTC)


def _minutes(clock: time) -> float:
    return clock.hour * 60 + clock.minute + (clock.second + clock.microsecond / 1_000_000) / 60


def _closing(clock: time) -> float:
    return _minutes(clock) or 24 * 60


def _check_span(opens: time, closes: time) -> None:
    if _minutes(opens) >= _closing(closes):
        raise ValueError("Opening hours end after they begin; 00:00 closes at the end of the day.")
