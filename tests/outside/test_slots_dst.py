"""Free slots on the days the clocks change, against the law's moments and `zoneinfo` for two zones."""

import csv
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from shopdesk.craft.slots import DayException, Slot, Window, free_slots, is_free

REFERENCE = Path(__file__).resolve().parents[2] / "shared" / "reference" / "clock_changes_2026.csv"
NEW_YORK, BERLIN = "America/New_York", "Europe/Berlin"
SPRING = [(NEW_YORK, date(2026, 3, 8)), (BERLIN, date(2026, 3, 29))]
AUTUMN = [(NEW_YORK, date(2026, 11, 1)), (BERLIN, date(2026, 10, 25))]


def changes() -> list[dict[str, str]]:
    lines = REFERENCE.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def offered(zone: str, day: date, opens: time, closes: time, minutes: int) -> list[Slot]:
    return free_slots(
        windows=[],
        exceptions=[DayException(day, ((opens, closes),))],
        zone=ZoneInfo(zone),
        slot_minutes=minutes,
        notice=timedelta(0),
        now=datetime(2026, 1, 1, tzinfo=UTC),
        days=(day, day),
        taken_cells=set(),
    )


def clock(zone: str, slots: list[Slot]) -> list[str]:
    return [slot.start.astimezone(ZoneInfo(zone)).strftime("%H:%M") for slot in slots]


# Source: 15 U.S.C. 260a; Directive 2000/84/EC. The tests below lean on zoneinfo, so zoneinfo is held to the
# law first.
@pytest.mark.parametrize("row", changes(), ids=lambda row: f"{row['zone']} {row['utc']}")
def test_zoneinfo_changes_when_the_law_says(row: dict[str, str]) -> None:
    zone, moment = ZoneInfo(row["zone"]), datetime.fromisoformat(row["utc"]).replace(tzinfo=UTC)
    second = timedelta(seconds=1)
    before = (moment - second).astimezone(zone).replace(tzinfo=None) + second
    assert before.strftime("%H:%M") == row["wall_before"]
    assert moment.astimezone(zone).strftime("%H:%M") == row["wall_after"]


# Source: the same; 02:00 to 03:00 is not there on those days in either zone.
@pytest.mark.parametrize(("zone", "day"), SPRING)
def test_the_hour_that_is_skipped_is_not_offered(zone: str, day: date) -> None:
    assert clock(zone, offered(zone, day, time(0), time(5), 60)) == ["00:00", "01:00", "03:00", "04:00"]
    assert clock(zone, offered(zone, day, time(1), time(4), 30)) == ["01:00", "01:30", "03:00", "03:30"]
    assert offered(zone, day, time(2), time(3), 15) == []
    # Half the window is gone: it begins when the clock does.
    assert clock(zone, offered(zone, day, time(2, 30), time(4), 30)) == ["03:00", "03:30"]
    assert clock(zone, offered(zone, day, time(0), time(2, 30), 60)) == ["00:00", "01:00"]


# Source: the same; New York repeats 01:00 to 02:00, Berlin 02:00 to 03:00.
@pytest.mark.parametrize(("zone", "day"), AUTUMN)
def test_the_hour_that_comes_twice_is_offered_as_two_instants(zone: str, day: date) -> None:
    slots = offered(zone, day, time(0), time(5), 60)
    repeated = {NEW_YORK: "01:00", BERLIN: "02:00"}[zone]
    expected = sorted(["00:00", "01:00", "02:00", "03:00", "04:00", repeated])
    assert clock(zone, slots) == expected
    assert len({slot.start for slot in slots}) == 6
    twice = [slot for slot in slots if clock(zone, [slot]) == [repeated]]
    assert twice[1].start - twice[0].start == timedelta(hours=1)


# Source: the same; a day of 23 hours and one of 25, to the last hour before midnight.
@pytest.mark.parametrize(
    ("zone", "day", "hours"), [(*when, 23) for when in SPRING] + [(*when, 25) for when in AUTUMN]
)
def test_the_whole_day_is_as_long_as_it_is(zone: str, day: date, hours: int) -> None:
    slots = offered(zone, day, time(0), time(0), 60)
    assert len(slots) == hours
    assert (clock(zone, slots)[0], clock(zone, slots)[-1]) == ("00:00", "23:00")


# A window that ends inside the repeated hour: both times the clock is inside it, and not the half hour
# between.
def test_window_that_ends_within_the_repeated_hour() -> None:
    slots = offered(NEW_YORK, date(2026, 11, 1), time(0, 30), time(1, 30), 30)
    assert clock(NEW_YORK, slots) == ["00:30", "01:00", "01:00"]
    assert [slot.start.hour for slot in slots] == [4, 5, 6]  # 00:30 EDT, 01:00 EDT, 01:00 EST in UTC


# Ordinary hours on the days before, of and after a change: the same clock times, another UTC hour.
@pytest.mark.parametrize(("zone", "day"), SPRING + AUTUMN)
def test_ordinary_hours_keep_the_shops_clock(zone: str, day: date) -> None:
    where = ZoneInfo(zone)
    windows = [Window(weekday, time(9), time(12)) for weekday in range(7)]
    around = (day - timedelta(days=1), day + timedelta(days=1))
    slots = free_slots(windows, [], where, 60, timedelta(0), datetime(2026, 1, 1, tzinfo=UTC), around, set())
    assert clock(zone, slots) == ["09:00", "10:00", "11:00"] * 3
    by_fact = [
        datetime(d.year, d.month, d.day, 9, tzinfo=where).astimezone(UTC) for d in (around[0], day, around[1])
    ]
    assert [slots[0].start, slots[3].start, slots[6].start] == by_fact
    assert slots[3].start - slots[0].start != timedelta(days=1)  # the night had 23 or 25 hours
    assert slots[6].start - slots[3].start == timedelta(days=1)


# Notice is real time: across the spring change, a day's notice given at 10:00 reaches 11:00 on the next day's
# clock.
@pytest.mark.parametrize(("zone", "day"), SPRING)
def test_notice_is_elapsed_time(zone: str, day: date) -> None:
    where = ZoneInfo(zone)
    eve = day - timedelta(days=1)
    now = datetime(eve.year, eve.month, eve.day, 10, tzinfo=where)
    windows = [Window(day.weekday(), time(9), time(13))]
    slots = free_slots(windows, [], where, 60, timedelta(hours=24), now, (day, day), set())
    assert clock(zone, slots) == ["11:00", "12:00"]


@pytest.mark.parametrize(("zone", "day"), SPRING + AUTUMN)
def test_one_slot_is_asked_about_by_the_same_rule(zone: str, day: date) -> None:
    windows = [Window(day.weekday(), time(0), time(5))]
    where, now = ZoneInfo(zone), datetime(2026, 1, 1, tzinfo=UTC)
    slots = offered(zone, day, time(0), time(5), 60)
    for slot in slots:
        assert is_free(slot.start, windows, [], where, 60, timedelta(0), now, set())
        assert not is_free(
            slot.start + timedelta(minutes=15), windows, [], where, 60, timedelta(0), now, set()
        )
