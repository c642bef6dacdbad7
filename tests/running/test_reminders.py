"""Looking for reminders takes the same few statements with twenty commissions and with two thousand, and no
statement reads through them all."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from shopdesk.commissions.models import Commission, Reminded, Stage
from shopdesk.commissions.reminders import due, kinds, write_due
from shopdesk.mail.models import Email
from shopdesk.running.measures import world
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at

pytestmark = pytest.mark.django_db
DAYS = (0, 1, 3, 7, 11, 14, 30)
"""After today: on these, each kind has something whose time it is."""
SMALL = {"SCAN shop_shop"}
"""Tables that have a row or two, whatever the shop does."""
BESIDE_THE_KINDS = 3
"""The shop, what is switched off for all, and what waits to be told."""


def mornings(shop: Shop) -> list[datetime]:
    today = today_at(shop)
    return [
        datetime.combine(today + timedelta(days=days), time(10), shop.tz).astimezone(UTC) for days in DAYS
    ]


def all_written(shop: Shop, moments: list[datetime]) -> dict[str, int]:
    """Note every reminder that is due at these moments as written, as the worker would have. Returns how many
    of each kind there were."""
    found = {
        (one.commission_id, one.kind, one.name): one
        for moment in moments
        for kind in kinds()
        for one in due(kind, shop, moment)
    }
    Reminded.objects.bulk_create(
        Reminded(commission_id=one.commission_id, kind=one.kind, occasion=one.name) for one in found.values()
    )
    return {kind.kind: sum(one.kind == kind.kind for one in found.values()) for kind in kinds()}


def statements(moments: list[datetime]) -> list[list[str]]:
    taken = []
    for moment in moments:
        with CaptureQueriesContext(connection) as caught:
            assert write_due(moment) == 0
        taken.append([query["sql"] for query in caught])
    return taken


def test_with_nothing_due_it_takes_one_statement_a_kind_however_many_commissions_there_are() -> None:
    world.furnish()
    Email.objects.all().delete()
    shop = the_shop()
    moments = mornings(shop)
    seen = all_written(shop, moments)
    few = statements(moments)
    world.grow(2000)
    assert Commission.objects.count() == 2000
    home = Commission.objects.filter(stage=Stage.COLLECTED).values_list("pk", flat=True)
    Commission.objects.filter(pk__in=list(home[:40])).update(settled_at=None)
    for kind, count in all_written(shop, moments).items():
        seen[kind] += count
    many = statements(moments)

    assert min(seen.values()) > 0, seen  # each had something to find
    assert [len(one) for one in many] == [len(one) for one in few]
    assert max(len(one) for one in many) <= len(kinds()) + BESIDE_THE_KINDS
    assert sum(seen.values()) > 500
    if connection.vendor == "sqlite":
        read = {step for one in many for sql in one for step in read_through(sql)}
        assert read <= SMALL


def read_through(sql: str) -> set[str]:
    """The tables that SQLite would read from one end to the other, or without an index, for a statement."""
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {sql}")
        steps = [str(row[3]) for row in cursor.fetchall()]
    return {step for step in steps if step.startswith("SCAN ") and "CONSTANT" not in step}
