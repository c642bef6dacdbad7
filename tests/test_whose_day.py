"""What day it is depends on where: the house asks at the shop (`shop.queries.today_at`), never by the zone
that happens to be active, which is the shop's in a request and the server's in a worker."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.commissions.models import Commission, Stage
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at

ROOT = Path(__file__).parents[1]


def unzoned(source: str) -> Iterator[int]:
    """The lines that ask for a day or an hour without saying where: the second argument does, or its name."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            named = any(keyword.arg == "timezone" for keyword in node.keywords)
            if node.func.attr in ("localdate", "localtime") and not named and len(node.args) < 2:
                yield node.lineno


def test_the_check_finds_what_it_looks_for() -> None:
    assert list(unzoned("timezone.localdate()\ntimezone.localtime(now)\ntimezone.localdate(timezone=z)")) == [
        1,
        2,
    ]
    assert not list(unzoned("timezone.localtime(now, shop.tz)"))


def test_nobody_asks_what_day_it_is_without_saying_where() -> None:
    files = [path for folder in ("shopdesk", "tests") for path in (ROOT / folder).rglob("*.py")]
    assert len(files) > 400
    found = [
        f"{path.relative_to(ROOT)}:{line}" for path in files for line in unzoned(path.read_text("utf-8"))
    ]
    assert not found


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("zone", "now", "day"),
    [
        ("America/New_York", datetime(2026, 11, 28, 3, 0, tzinfo=UTC), date(2026, 11, 27)),
        ("America/New_York", datetime(2026, 11, 28, 12, 0, tzinfo=UTC), date(2026, 11, 28)),
        ("Pacific/Auckland", datetime(2026, 11, 27, 20, 0, tzinfo=UTC), date(2026, 11, 28)),
    ],
)
def test_a_piece_comes_in_on_the_shop_s_day(
    commission: Commission,
    shop: Shop,
    as_owner: Who,
    monkeypatch: pytest.MonkeyPatch,
    zone: str,
    now: datetime,
    day: date,
) -> None:
    """In the evening of New York, and in the morning of Auckland, the day is another one than in UTC."""
    Shop.objects.update(zone=zone)
    monkeypatch.setattr("django.utils.timezone.now", lambda: now)
    Commission.objects.update(stage=Stage.BOOKED, requested_at=now)
    assert today_at(Shop.objects.get()) == day
    bench.check_in(commission, day, as_owner)
    commission.refresh_from_db()
    assert commission.checked_in_on == day
