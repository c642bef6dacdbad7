"""How money and times are written. The patterns are CLDR's; here we check that we ask for the right ones."""

from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from shopdesk.look import formats

TODAY = date(2026, 11, 25)  # a Wednesday


@pytest.mark.parametrize(
    ("value", "currency", "locale", "written"),
    [
        ("343.70", "USD", "en_US", "$343.70"),
        ("-343.7", "USD", "en_US", "−$343.70"),
        ("1234567.5", "USD", "en_US", "$1,234,567.50"),
        ("1234.5", "EUR", "de_DE", "1.234,50\xa0€"),
        ("1234", "JPY", "en_US", "¥1,234"),
        ("1.2345", "KWD", "en_US", "KWD\xa01.234"),
        ("12", "USD", "xx_nowhere", "$12.00"),
    ],
)
def test_money(value: str, currency: str, locale: str, written: str) -> None:
    assert formats.money(Decimal(value), currency, locale) == written


def test_the_figure_alone() -> None:
    assert formats.amount(Decimal("-1343.7"), "USD", "en_US") == "−1,343.70"
    assert formats.amount(Decimal(1343), "JPY", "en_US") == "1,343"
    assert formats.number(Decimal("2.50"), "en_US") == "2.5"
    assert formats.number(Decimal(100), "en_US") == "100"


def test_days() -> None:
    then = date(2026, 12, 9)
    assert formats.day(then, "en_US", TODAY) == "December 9"
    assert formats.day(then, "en_GB", TODAY) == "9 December"
    assert formats.day(then, "en_US", date(2025, 1, 1)) == "December 9, 2026"
    assert formats.day(then, "en_GB") == "9 December 2026"
    assert formats.short_day(then, "en_GB", TODAY) == "9 Dec"
    assert formats.short_day(then, "en_US", date(2027, 1, 1)) == "Dec 9, 2026"
    assert formats.weekday(then, "en_GB", TODAY) == "Wednesday 9 December"
    assert formats.weekday(then, "en_US", TODAY) == "Wednesday, December 9"


def test_times_are_told_in_the_shops_zone() -> None:
    at = datetime(2026, 12, 9, 3, 30, tzinfo=UTC)
    assert formats.moment(at, ZoneInfo("America/New_York"), "en_US", TODAY) == "Tue, Dec 8, 10:30\xa0PM"
    assert formats.moment(at, ZoneInfo("Europe/London"), "en_GB", TODAY) == "Wed 9 Dec, 03:30"
    assert formats.clock(at, ZoneInfo("Europe/Berlin"), "de_DE") == "04:30"


@pytest.mark.parametrize(
    ("then", "ago", "waiting"),
    [
        (date(2026, 11, 26), "still to come", "since today"),
        (date(2026, 11, 25), "today", "since today"),
        (date(2026, 11, 24), "yesterday", "since yesterday"),
        (date(2026, 11, 23), "on Monday", "since Monday"),
        (date(2026, 11, 19), "on Thursday", "since Thursday"),
        (date(2026, 11, 18), "seven days ago", "for seven days"),
        (date(2026, 11, 4), "three weeks ago", "for three weeks"),
        (date(2026, 9, 1), "two months ago", "for two months"),
        (date(2025, 9, 1), "15 months ago", "for 15 months"),
        (date(2021, 1, 1), "five years ago", "for five years"),
    ],
)
def test_how_long_ago(then: date, ago: str, waiting: str) -> None:
    assert formats.since(then, TODAY) == ago
    assert formats.waiting_since(then, TODAY) == waiting


def test_lists_of_pieces() -> None:
    assert formats.listed([]) == ""
    assert formats.listed(["a sideboard"]) == "a sideboard"
    assert formats.listed(["a sideboard", "a table", "two chairs"]) == "a sideboard, a table and two chairs"
