from __future__ import annotations

from datetime import date, time

import pytest

from shopdesk.intake.queries import answer_by
from shopdesk.shop.models import DifferentDay, Shop

MONDAY = date(2026, 11, 23)


@pytest.mark.parametrize(
    ("asked", "days", "answered"),
    [
        (MONDAY, 3, date(2026, 11, 26)),
        (date(2026, 11, 25), 3, date(2026, 11, 30)),  # over a weekend
        (date(2026, 11, 28), 1, date(2026, 11, 30)),  # on a Saturday
        (date(2026, 11, 27), 10, date(2026, 12, 11)),
        (MONDAY, 0, MONDAY),
    ],
)
def test_working_days(shop: Shop, asked: date, days: int, answered: date) -> None:
    shop.answer_in_days = days
    assert answer_by(shop, asked) == answered


def test_days_on_which_the_shop_is_closed_do_not_count(shop: Shop) -> None:
    DifferentDay.objects.create(day=date(2026, 11, 24))
    DifferentDay.objects.create(day=date(2026, 11, 25), opens=time(9), closes=time(12))
    shop.answer_in_days = 2
    assert answer_by(shop, MONDAY) == date(2026, 11, 26)


def test_a_shop_that_is_closed_for_good_still_says_a_day(shop: Shop) -> None:
    shop.answer_in_days = 60000
    assert answer_by(shop, MONDAY) > MONDAY
