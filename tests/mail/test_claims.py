"""Claiming from a long table: the next email is found by an index that holds nothing but what may go, as the
databases themselves explain it."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shopdesk.mail import claims
from shopdesk.mail.models import Email
from shopdesk.mail.queries import to_send

MANY = 3_000
SECOND = timedelta(seconds=1)


def rows(count: int, **values: Any) -> None:
    now = timezone.now()
    about = {"kind": "note", "due_at": now - SECOND, "to_address": "ottoline@example.com", **values}
    Email.objects.bulk_create(
        [
            Email(message_id=f"<{uuid.uuid4()}@x>", from_address="hello@tidewell.example.com", **about)
            for _ in range(count)
        ],
        batch_size=500,
    )


def read_by_a_claim(*, can_wait: bool, analyzed: bool = True) -> int:
    """How many rows of the table the database looks at for the first eight."""
    rows = claims.in_line(timezone.now(), can_wait=can_wait)
    sql, values = rows[:8].query.sql_with_params()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            if analyzed:
                cursor.execute("ANALYZE mail_email")
            cursor.execute(f"EXPLAIN (ANALYZE, FORMAT JSON) {sql}", values)
            (plan,) = cursor.fetchone()[0]
            return _looked_at(plan["Plan"])
        if analyzed:
            cursor.execute("ANALYZE")
        cursor.execute(f"EXPLAIN QUERY PLAN {sql}", values)
        steps = [row[3] for row in cursor.fetchall()]
    (step,) = steps  # no second one: neither a sort nor a subquery
    index = "mail_email_line_can_wait" if can_wait else "mail_email_line"
    assert step == f"SEARCH mail_email USING INDEX {index} (state=? AND due_at<?)"
    return 8


def _looked_at(plan: dict[str, Any]) -> int:
    within = sum(_looked_at(one) for one in plan.get("Plans", ()))
    assert plan["Node Type"] != "Seq Scan", plan
    return within or int(plan["Actual Rows"]) + int(plan.get("Rows Removed by Filter", 0))


@pytest.mark.django_db
@pytest.mark.parametrize(
    "others",
    [
        {"state": "done"},
        {"state": "failed"},
        {"due_at": timezone.now() + timedelta(days=90)},
        {"complete": False},
        {"way": "tell"},
        {"can_wait": True, "due_at": timezone.now() + timedelta(days=90)},
        {"can_wait": True},
        {"thread": "another that is due"},
    ],
    ids=["done", "failed", "later", "not complete", "told", "can wait, later", "can wait", "another thread"],
)
@pytest.mark.parametrize("analyzed", [True, False])
def test_however_many_others_there_are_a_claim_looks_at_a_handful(
    others: dict[str, Any], analyzed: bool
) -> None:
    rows(MANY, **others)
    rows(10)
    assert read_by_a_claim(can_wait=False, analyzed=analyzed) <= 10


@pytest.mark.django_db
def test_members_of_a_bundle_are_not_looked_at_either() -> None:
    rows(1)
    rows(MANY, bundle=Email.objects.get(), can_wait=True)
    rows(10, can_wait=True)
    assert read_by_a_claim(can_wait=True) <= 12


@pytest.mark.django_db
def test_what_may_be_claimed_is_what_the_index_holds() -> None:
    for values in (
        {},
        {"state": "done"},
        {"way": "tell"},
        {"complete": False},
        {"due_at": timezone.now() + SECOND * 60},
    ):
        rows(1, **values)
    first = Email.objects.order_by("id").first()
    assert list(claims.in_line(timezone.now(), can_wait=False)) == [first]
    assert to_send().count() == 3


@pytest.mark.django_db
def test_an_email_costs_four_statements(note: Any, server: Any) -> None:
    from shopdesk.mail.delivery import deliver_all

    def statements(count: int) -> int:
        for n in range(count):
            note(words=f"number {n}")
        with CaptureQueriesContext(connection) as captured:
            assert deliver_all() == count
        return len(captured)

    few, many = statements(32), statements(96)
    assert (many - few) / 64 <= 4


@pytest.mark.django_db
def test_what_was_left_is_taken_alone_and_the_longest_left_first() -> None:
    now = timezone.now()
    rows(3, state="under way", lease=uuid.uuid4(), lease_until=now - 2 * SECOND, tries=1)
    rows(1, state="under way", lease=uuid.uuid4(), lease_until=now - 3 * SECOND, tries=1)
    rows(1, state="under way", lease=uuid.uuid4(), lease_until=now + 60 * SECOND, tries=1)
    last = Email.objects.order_by("-lease_until")[0]
    oldest = Email.objects.order_by("lease_until")[0]
    taken = [claims.abandoned(timedelta(minutes=5)) for _ in range(5)]
    assert [len(one) for one in taken] == [1, 1, 1, 1, 0]
    assert taken[0] == [oldest]
    assert last not in [email for one in taken for email in one]
    assert {email.tries for one in taken for email in one} == {2}
