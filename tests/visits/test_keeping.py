"""What a worker does with visits: reminding, putting away, cancelling what nobody comes to."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.mail import EmailMessage
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.commissions.queries import journal_of
from shopdesk.commissions.reminders import write_due
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at
from shopdesk.visits.actions import book, look_after
from shopdesk.visits.models import Cell, Visit
from shopdesk.visits.queries import free
from tests.visits.conftest import some_slots, stand_at

pytestmark = pytest.mark.django_db
PICKUP, DROP_OFF = Visit.Kind.PICKUP, Visit.Kind.DROP_OFF
Clock = Callable[[datetime], datetime]


def reminders() -> int:
    return Email.objects.filter(kind="visit-reminder").count()


def sweep() -> None:
    """As a worker does it: remind, and put away."""
    write_due()
    look_after()


def at_nine_the_day_before(visit: Visit, shop: Shop) -> datetime:
    local = visit.starts_at.astimezone(shop.tz)
    return (local - timedelta(days=1)).replace(hour=9, minute=0).astimezone(UTC)


def test_one_reminder_from_nine_the_day_before(
    ready: Commission, as_client: Who, shop: Shop, clock: Clock
) -> None:
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    nine = at_nine_the_day_before(visit, shop)
    for moment in (timezone.now(), nine - timedelta(days=1), nine - timedelta(seconds=1)):
        clock(moment)
        sweep()
        assert reminders() == 0
    for moment in (nine, nine + timedelta(minutes=5), nine + timedelta(hours=14)):
        clock(moment)
        sweep()
        assert reminders() == 1
    email = Email.objects.get(kind="visit-reminder")
    assert email.to_address == "ottoline@example.com"


def test_a_moved_visit_is_reminded_of_again(
    ready: Commission, as_client: Who, as_owner: Who, shop: Shop, clock: Clock
) -> None:
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    clock(at_nine_the_day_before(visit, shop))
    sweep()
    later = next(
        slot
        for slot in free(timezone.now(), for_owner=True)
        if slot.start > visit.starts_at + timedelta(days=3)
    )
    visit = book(ready, PICKUP, later.start, as_owner)
    sweep()
    assert reminders() == 1
    clock(at_nine_the_day_before(visit, shop))
    sweep()
    sweep()
    assert reminders() == 2


def test_a_visit_booked_for_tomorrow_was_just_confirmed(
    ready: Commission, as_owner: Who, shop: Shop, clock: Clock
) -> None:
    slot = some_slots()[0]
    clock((slot.start.astimezone(shop.tz) - timedelta(days=1)).replace(hour=16, minute=0).astimezone(UTC))
    book(ready, PICKUP, slot.start, as_owner)
    sweep()
    assert reminders() == 0


@pytest.mark.parametrize(
    ("stage", "why"),
    [
        (Stage.IN_WORK, "it is not ready after all"),
        (Stage.DRYING, "it is not ready after all"),
        (Stage.ON_HOLD, "the work is on hold"),
    ],
)
def test_a_pickup_that_is_not_ready_after_all_is_called_off(
    ready: Commission, as_client: Who, shop: Shop, clock: Clock, stage: Stage, why: str
) -> None:
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    stand_at(ready, stage)
    clock(at_nine_the_day_before(visit, shop))
    sweep()
    assert reminders() == 0
    visit.refresh_from_db()
    assert (visit.state, visit.sequence, Cell.objects.exists()) == ("cancelled", 1, False)
    email = Email.objects.get(kind="visit-cancelled")
    assert email.context["why"] == why
    assert "METHOD:CANCEL" in email.enclosures.get().text
    line = JournalLine.objects.get(commission=ready, verb="pickup cancelled")
    assert line.words.endswith(why)
    sweep()
    assert Email.objects.filter(kind="visit-cancelled").count() == 1


def test_a_drop_off_of_what_is_on_hold_is_called_off(
    booked: Commission, as_client: Who, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    visit = book(booked, DROP_OFF, some_slots()[0].start, as_client)
    work()
    mailbox.clear()
    stand_at(booked, Stage.ON_HOLD)
    work()
    visit.refresh_from_db()
    assert visit.state == "cancelled"
    told = next(mail for mail in mailbox if mail.to == [booked.client.email])
    assert "the work is on hold" in told.body
    assert "Choose a time" not in told.body


def test_two_workers_write_one_reminder(
    ready: Commission, as_client: Who, shop: Shop, clock: Clock, monkeypatch: Any
) -> None:
    """The second comes while the first is writing: it finds the row that the first has made."""
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    clock(at_nine_the_day_before(visit, shop))
    real, counts = to_client, []

    def first_worker_is_here_now(*args: Any, **kwargs: Any) -> Any:
        monkeypatch.setattr("shopdesk.commissions.reminders.to_client", real)
        counts.append(write_due())
        return real(*args, **kwargs)

    monkeypatch.setattr("shopdesk.commissions.reminders.to_client", first_worker_is_here_now)
    counts.append(write_due())
    assert counts == [0, 1]
    assert reminders() == 1


def test_tomorrow_is_the_shops_and_right_across_a_clock_change(
    ready: Commission, shop: Shop, clock: Clock
) -> None:
    """Sunday 1 November 2026 has 25 hours in New York: 23:30 of that day is still "tomorrow" on Saturday."""
    zone = ZoneInfo("America/New_York")
    late = datetime(2026, 11, 1, 23, 30, tzinfo=zone).astimezone(UTC)
    Visit.objects.create(commission=ready, kind=PICKUP, starts_at=late, ends_at=late + timedelta(minutes=15))
    assert write_due(datetime(2026, 10, 30, 23, 59, tzinfo=zone)) == 0
    assert write_due(datetime(2026, 10, 31, 9, 0, tzinfo=zone)) == 1


@pytest.mark.parametrize("stage", [Stage.CANCELLED, Stage.WITHDRAWN, Stage.DECLINED])
def test_a_visit_of_a_commission_that_ended_is_cancelled_and_the_client_told(
    booked: Commission, as_client: Who, stage: Stage
) -> None:
    visit = book(booked, DROP_OFF, some_slots()[0].start, as_client)
    stand_at(booked, stage, ended_at=timezone.now())
    Email.objects.all().delete()
    look_after()
    look_after()
    visit.refresh_from_db()
    assert (visit.state, visit.sequence) == ("cancelled", 1)
    assert not Cell.objects.exists()
    email = Email.objects.get()
    assert email.kind == "visit-cancelled"
    assert not email.context["again"]
    assert "method=CANCEL" in email.enclosures.get().mime
    assert journal_of(booked)[-1].by == "shop"


def test_a_visit_is_done_once_the_piece_has_changed_hands(booked: Commission, as_client: Who) -> None:
    """Brought in earlier than booked: the time is free for somebody else, and nobody is told anything."""
    slot = some_slots()[0]
    visit = book(booked, DROP_OFF, slot.start, as_client)
    stand_at(booked, Stage.CHECKED_IN, checked_in_on=today_at(the_shop()))
    Email.objects.all().delete()
    look_after()
    visit.refresh_from_db()
    assert (visit.state, visit.sequence) == ("done", 0)
    assert slot in free(timezone.now())
    assert not Email.objects.exists()


def test_a_pickup_is_done_with_the_hand_over(ready: Commission, as_client: Who) -> None:
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    stand_at(ready, Stage.COLLECTED, collected_at=timezone.now())
    look_after()
    visit.refresh_from_db()
    assert visit.state == "done"


def test_a_missed_visit_stands_until_its_day_is_over_and_can_then_be_booked_anew(
    ready: Commission, as_client: Who, shop: Shop, clock: Clock
) -> None:
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    midnight = (visit.starts_at.astimezone(shop.tz) + timedelta(days=1)).replace(hour=0, minute=0)
    clock((midnight - timedelta(minutes=1)).astimezone(UTC))
    look_after()
    visit.refresh_from_db()
    assert visit.state == "booked"
    clock((midnight + timedelta(minutes=1)).astimezone(UTC))
    look_after()
    visit.refresh_from_db()
    assert visit.state == "done"
    again = book(ready, PICKUP, some_slots()[0].start, as_client)
    assert again.pk != visit.pk


def test_a_time_of_an_ended_commission_that_is_past_is_put_away_quietly(
    ready: Commission, as_client: Who, clock: Clock
) -> None:
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    clock(visit.starts_at + timedelta(minutes=5))
    stand_at(ready, Stage.CANCELLED)
    Email.objects.all().delete()
    look_after()
    visit.refresh_from_db()
    assert visit.state == "done"
    assert not Email.objects.exists()


def test_before_there_is_a_shop_there_is_nothing_to_do() -> None:
    look_after()
    assert not Email.objects.exists()


def test_the_sweep_knows_both(ready: Commission, as_client: Who, shop: Shop, clock: Clock) -> None:
    from shopdesk.base.sweep import runners, sweep

    assert look_after in runners().values()
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    clock(at_nine_the_day_before(visit, shop))
    sweep()
    assert reminders() == 1
