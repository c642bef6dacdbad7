"""Quiet hours and the shop's day, with the time zone database (PEP 615) as the reference."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from shopdesk.mail.holding import Hours, day_of, next_morning, quiet_until
from tests.mail.waiting import NEW_YORK, NIGHT, wall_is_quiet

ZONES = [
    "America/New_York",
    "Europe/Berlin",
    "Australia/Lord_Howe",  # put forward by half an hour
    "America/St_Johns",
    "Asia/Kathmandu",
    "Pacific/Apia",  # a day was left out in December 2011
    "America/Havana",  # put forward at midnight
    "UTC",
]


def minutes(first: int = 0) -> st.SearchStrategy[time]:
    return st.integers(first, 24 * 60 - 1).map(lambda minute: time(minute // 60, minute % 60))


@st.composite
def moments(draw: st.DrawFn) -> datetime:
    """Any minute of some years, and mostly one near a change of the clock."""
    zone_changes = [
        datetime(2026, 3, 8, 6, tzinfo=UTC),
        datetime(2026, 11, 1, 5, tzinfo=UTC),
        datetime(2026, 3, 29, 0, tzinfo=UTC),
        datetime(2026, 10, 25, 0, tzinfo=UTC),
        datetime(2026, 10, 3, 15, tzinfo=UTC),
        datetime(2026, 4, 4, 15, tzinfo=UTC),
        datetime(2011, 12, 30, 10, tzinfo=UTC),
        datetime(2026, 3, 8, 5, tzinfo=UTC),
    ]
    near = draw(st.sampled_from(zone_changes)) + timedelta(minutes=draw(st.integers(-2000, 2000)))
    anywhere = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=draw(st.integers(0, 500_000)))
    return near if draw(st.integers(0, 3)) else anywhere


@settings(max_examples=400, deadline=None)
@given(moments(), st.sampled_from(ZONES), minutes(), minutes())
@example(datetime(2026, 3, 8, 6, 30, tzinfo=UTC), "America/New_York", time(20), time(2, 30))
@example(datetime(2026, 3, 8, 6, 30, tzinfo=UTC), "America/New_York", time(2, 45), time(2, 30))
@example(datetime(2026, 11, 1, 6, 10, tzinfo=UTC), "America/New_York", time(20), time(1, 30))
@example(datetime(2026, 11, 1, 5, 10, tzinfo=UTC), "America/New_York", time(20), time(1, 30))
def test_the_quiet_hours_end_when_the_wall_says_so(
    moment: datetime, zone: str, begin: time, end: time
) -> None:
    hours = Hours(ZoneInfo(zone), begin, end)
    expected = moment
    while wall_is_quiet(expected, hours):
        expected += timedelta(minutes=1)
    assert quiet_until(moment, hours) == (expected if expected != moment else None)


@settings(max_examples=200, deadline=None)
@given(moments(), st.sampled_from(ZONES), minutes(), minutes())
def test_the_next_morning_is_another_day_and_not_quiet(
    moment: datetime, zone: str, begin: time, end: time
) -> None:
    hours = Hours(ZoneInfo(zone), begin, end)
    morning = next_morning(moment, hours)
    assert day_of(morning, hours) > day_of(moment, hours)
    assert morning - moment < timedelta(hours=73)
    assert not wall_is_quiet(morning, hours)


@pytest.mark.parametrize(
    ("moment", "until"),
    [
        ("2026-11-25 19:59", None),
        ("2026-11-25 20:00", "2026-11-26 08:00"),
        ("2026-11-26 07:59", "2026-11-26 08:00"),
        ("2026-11-26 08:00", None),
        ("2026-03-07 23:00", "2026-03-08 08:00"),  # ten hours later, less the one that is left out
    ],
)
def test_evenings_and_nights_of_a_shop_in_new_york(moment: str, until: str | None) -> None:
    def wall(text: str) -> datetime:
        return datetime.fromisoformat(text).replace(tzinfo=NEW_YORK)

    assert quiet_until(wall(moment), NIGHT) == (wall(until) if until else None)


def test_the_next_day_without_quiet_hours_begins_at_eight() -> None:
    never = Hours(NEW_YORK, time(0), time(0))
    assert next_morning(datetime(2026, 11, 25, 15, tzinfo=UTC), never) == datetime(
        2026, 11, 26, 13, tzinfo=UTC
    )
    siesta = Hours(NEW_YORK, time(7), time(9))
    assert next_morning(datetime(2026, 11, 25, 15, tzinfo=UTC), siesta) == datetime(
        2026, 11, 26, 14, tzinfo=UTC
    )
