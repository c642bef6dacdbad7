"""A row of work is done once, and never lost, whoever dies."""

import time
from datetime import timedelta

import pytest
from django.utils import timezone

from shopdesk.base import work
from shopdesk.mail.models import Email

pytestmark = pytest.mark.django_db
LEASE = timedelta(minutes=2)


def email(n: int = 0, **values: object) -> Email:
    return Email.objects.create(
        message_id=f"<{n}@example.com>", from_address="a@example.com", kind="x", **values
    )


def claim(**at: object) -> Email | None:
    return work.claim(Email.objects.all(), lease=LEASE, **at)  # type: ignore[arg-type]


def test_a_row_is_claimed_once_and_in_order() -> None:
    later, first = email(1), email(2, due_at=timezone.now() - timedelta(hours=1))
    taken = [claim(), claim(), claim()]
    assert [row and row.pk for row in taken] == [first.pk, later.pk, None]
    assert taken[0] is not None
    assert taken[0].tries == 1
    assert taken[0].state == Email.State.UNDER_WAY


def test_what_is_not_due_is_left() -> None:
    email(due_at=timezone.now() + timedelta(minutes=1))
    assert claim() is None


def test_an_abandoned_row_is_taken_over_and_the_first_holder_changes_nothing() -> None:
    email()
    now = timezone.now()
    lost = claim()
    assert lost is not None
    assert claim() is None
    over = claim(now=now + LEASE + timedelta(seconds=5))
    assert over is not None
    assert over.pk == lost.pk
    assert over.tries == 2
    assert not work.finish(lost)
    assert not work.put_off(lost, timedelta(0))
    assert not work.give_up(lost, "too late")
    assert work.finish(over)
    assert Email.objects.get().state == Email.State.DONE


def test_putting_off_counts_the_try_or_takes_it_back() -> None:
    email()
    row = claim()
    assert row is not None
    assert work.put_off(row, timedelta(0), "the server was busy")
    assert Email.objects.get().tries == 1
    row = claim(now=timezone.now() + timedelta(seconds=1))
    assert row is not None
    assert work.put_off(row, timedelta(hours=1), counts=False)
    left = Email.objects.get()
    assert (left.tries, left.state) == (1, Email.State.WAITING)
    assert claim() is None


def test_giving_up_shows_why_and_can_be_tried_again() -> None:
    email()
    row = claim()
    assert row is not None
    assert work.give_up(row, "no such address")
    assert Email.objects.get().trouble == "no such address"
    assert claim() is None
    assert work.again(Email.objects.all()) == 1
    assert claim() is not None


def test_waits_grow_up_to_a_limit() -> None:
    means = [
        sum(work.growing_wait(n, first=20, most=600).total_seconds() for _ in range(200)) / 200
        for n in (1, 2, 3, 30)
    ]
    assert 18 < means[0] < 22
    assert means[0] < means[1] < means[2] < means[3] <= 660


def test_a_backlog_leaves_the_others_their_turn(nudged: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter(range(0, 1000, 25))
    monkeypatch.setattr(time, "monotonic", lambda: next(clock))
    emails = [email(number) for number in range(5)]
    done: list[int] = []

    def do(row: Email) -> None:
        done.append(row.pk)
        work.finish(row)

    monkeypatch.setattr(work, "nudge", nudged.append)
    assert work.run_all(claim, do, task="shopdesk.some.task") == 3  # 60 seconds, at 25 each
    assert nudged == ["shopdesk.some.task"]
    assert work.run_all(claim, do, task="shopdesk.some.task", most=1) == 1
    assert work.run_all(claim, do, task="shopdesk.some.task", seconds=1000) == 1
    assert done == [one.pk for one in emails]
    assert nudged == ["shopdesk.some.task"] * 2
