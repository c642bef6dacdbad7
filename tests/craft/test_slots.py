from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shopdesk.craft.slots import DayException, Slot, Window, cells, free_slots, is_free

LONDON = ZoneInfo("Europe/London")
MONDAY = date(2026, 6, 1)
NOW = datetime(2026, 5, 20, 12, tzinfo=UTC)
NO_NOTICE = timedelta(0)
WEEK = [Window(day, time(9), time(12)) for day in range(5)]


def at(hour: int, minute: int = 0, day: date = MONDAY) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=LONDON).astimezone(UTC)


def starts(slots: list[Slot]) -> list[datetime]:
    return [slot.start for slot in slots]


def test_slots_tile_the_window_from_its_opening() -> None:
    found = free_slots(WEEK, [], LONDON, 45, NO_NOTICE, NOW, (MONDAY, MONDAY), set())
    assert starts(found) == [at(9), at(9, 45), at(10, 30), at(11, 15)]
    assert all(slot.end - slot.start == timedelta(minutes=45) for slot in found)
    assert all(slot.start.tzinfo is UTC and slot.end.tzinfo is UTC for slot in found)
    found = free_slots(WEEK, [], LONDON, 120, NO_NOTICE, NOW, (MONDAY, MONDAY), set())
    assert starts(found) == [at(9)]  # the hour left over is no slot


def test_the_weekend_is_closed_and_exceptions_replace_a_day() -> None:
    week = (MONDAY, MONDAY + timedelta(days=6))
    assert len(free_slots(WEEK, [], LONDON, 60, NO_NOTICE, NOW, week, set())) == 15
    saturday = MONDAY + timedelta(days=5)
    exceptions = [DayException(MONDAY), DayException(saturday, ((time(14), time(16)), (time(10), time(11))))]
    found = free_slots(WEEK, exceptions, LONDON, 60, NO_NOTICE, NOW, week, set())
    assert len(found) == 12 + 3
    assert starts(found)[-3:] == [at(10, day=saturday), at(14, day=saturday), at(15, day=saturday)]


def test_a_booking_takes_every_slot_it_touches() -> None:
    taken = set(cells(at(9, 30), at(10, 15)))  # made when slots were 45 minutes long
    found = free_slots(WEEK, [], LONDON, 60, NO_NOTICE, NOW, (MONDAY, MONDAY), taken)
    assert starts(found) == [at(11)]
    assert not is_free(at(9), WEEK, [], LONDON, 60, NO_NOTICE, NOW, taken)
    assert is_free(at(11), WEEK, [], LONDON, 60, NO_NOTICE, NOW, taken)


def test_notice_counts_from_now() -> None:
    def with_notice(now: datetime) -> list[datetime]:
        return starts(free_slots(WEEK, [], LONDON, 60, timedelta(hours=2), now, (MONDAY, MONDAY), set()))

    assert with_notice(at(8)) == [at(10), at(11)]
    assert with_notice(at(8) + timedelta(microseconds=1)) == [at(11)]
    assert with_notice(at(13)) == []


def test_overlapping_windows_never_offer_overlapping_slots() -> None:
    windows = [
        Window(0, time(11, 30), time(13, 30)),
        Window(0, time(9), time(12)),
        Window(0, time(9), time(10)),
    ]
    found = free_slots(windows, [], LONDON, 60, NO_NOTICE, NOW, (MONDAY, MONDAY), set())
    assert starts(found) == [at(9), at(10), at(11), at(12)]


def test_windows_off_the_quarter_hour_count_from_the_next_one_inside() -> None:
    found = free_slots(
        [Window(0, time(9, 5), time(10, 50))], [], LONDON, 30, NO_NOTICE, NOW, (MONDAY, MONDAY), set()
    )
    assert starts(found) == [at(9, 15), at(9, 45), at(10, 15)]


def test_a_window_may_last_until_midnight() -> None:
    found = free_slots(
        [Window(0, time(22), time(0))], [], LONDON, 60, NO_NOTICE, NOW, (MONDAY, MONDAY), set()
    )
    assert starts(found) == [at(22), at(23)]
    whole = free_slots([Window(0, time(0), time(0))], [], LONDON, 15, NO_NOTICE, NOW, (MONDAY, MONDAY), set())
    assert len(whole) == 96


def test_no_days_no_slots() -> None:
    assert free_slots(WEEK, [], LONDON, 60, NO_NOTICE, NOW, (MONDAY, MONDAY - timedelta(days=1)), set()) == []
    assert free_slots([], [], LONDON, 60, NO_NOTICE, NOW, (MONDAY, MONDAY), set()) == []


def test_cells_are_the_quarter_hours_touched() -> None:
    assert cells(at(9), at(10)) == [at(9), at(9, 15), at(9, 30), at(9, 45)]
    assert cells(at(9, 7), at(9, 16)) == [at(9), at(9, 15)]
    new_york = at(9).astimezone(ZoneInfo("America/New_York"))
    assert cells(new_york, new_york + timedelta(minutes=15)) == [at(9)]
    assert all(cell.tzinfo is UTC for cell in cells(new_york, new_york + timedelta(hours=1)))


def test_nonsense() -> None:
    days = (MONDAY, MONDAY)
    for minutes in (0, -15, 20, 24 * 60 + 15):
        with pytest.raises(ValueError, match="multiple of 15"):
            free_slots(WEEK, [], LONDON, minutes, NO_NOTICE, NOW, days, set())
    with pytest.raises(ValueError, match="notice"):
        free_slots(WEEK, [], LONDON, 60, timedelta(seconds=-1), NOW, days, set())
    with pytest.raises(ValueError, match="time zone"):
        free_slots(WEEK, [], LONDON, 60, NO_NOTICE, NOW.replace(tzinfo=None), days, set())
    with pytest.raises(ValueError, match="time zone"):
        is_free(at(9).replace(tzinfo=None), WEEK, [], LONDON, 60, NO_NOTICE, NOW, set())
    with pytest.raises(ValueError, match="a year"):
        free_slots(WEEK, [], LONDON, 60, NO_NOTICE, NOW, (MONDAY, MONDAY + timedelta(days=366)), set())
    with pytest.raises(ValueError, match="time zone"):
        cells(at(9).replace(tzinfo=None), at(10))
    with pytest.raises(ValueError, match="ends after"):
        cells(at(9), at(9))
    with pytest.raises(ValueError, match="end after they begin"):
        Window(0, time(12), time(9))
    with pytest.raises(ValueError, match="end after they begin"):
        DayException(MONDAY, ((time(9), time(9)),))
    with pytest.raises(ValueError, match="weekday"):
        Window(7, time(9), time(12))


quarter_times = st.integers(0, 95).map(lambda quarter: time(quarter // 4, quarter % 4 * 15))
windows = st.builds(
    lambda weekday, one, other: Window(weekday, min(one, other), max(one, other)) if one != other else None,
    st.integers(0, 6),
    quarter_times,
    quarter_times,
).filter(bool)
zones = st.sampled_from(
    [
        "America/New_York",
        "Europe/Berlin",
        "Australia/Lord_Howe",
        "Asia/Kathmandu",
        "America/Havana",
        "Africa/Cairo",
        "UTC",
    ]
).map(ZoneInfo)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(windows, max_size=6),
    zones,
    st.sampled_from([15, 30, 45, 60, 90, 120]),
    st.integers(0, 72),
    st.dates(date(2026, 1, 1), date(2027, 12, 31)),
    st.integers(0, 60),
    st.sets(st.integers(0, 4 * 24 * 4), max_size=20),
)
def test_every_slot_offered_can_be_kept(
    hours: list[Window],
    zone: ZoneInfo,
    minutes: int,
    notice_hours: int,
    first: date,
    now_hours: int,
    taken_quarters: set[int],
) -> None:
    midnight = datetime(first.year, first.month, first.day, tzinfo=UTC)
    now, notice = midnight + timedelta(hours=now_hours - 24), timedelta(hours=notice_hours)
    taken = {midnight + timedelta(minutes=15 * quarter) for quarter in taken_quarters}
    days = (first, first + timedelta(days=3))
    found = free_slots(hours, [], zone, minutes, notice, now, days, taken)

    assert all(one.end <= other.start for one, other in pairwise(found))
    for slot in found:
        assert slot.end - slot.start == timedelta(minutes=minutes)
        assert slot.start >= now + notice
        assert taken.isdisjoint(cells(slot.start, slot.end))
        # Minute by minute, the shop's clock reads a time in one and the same window.
        local = [(slot.start + timedelta(minutes=minute)).astimezone(zone) for minute in range(minutes)]
        assert days[0] <= local[0].date() <= days[1]
        assert any(
            all(m.weekday() == window.weekday and window.opens <= m.time() < window.closes for m in local)
            for window in hours
        )
        assert is_free(slot.start, hours, [], zone, minutes, notice, now, taken)
    everything = free_slots(hours, [], zone, minutes, notice, now, days, set())
    assert set(found) <= set(everything)
    assert all(not taken.isdisjoint(cells(slot.start, slot.end)) for slot in set(everything) - set(found))
