"""Booking, moving and cancelling, by the client and by the owner."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from email import message_from_bytes, policy
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.queries import journal_of
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at
from shopdesk.visits.actions import GONE, book, cancel
from shopdesk.visits.models import Cell, Visit
from shopdesk.visits.queries import coming, free, visits_of
from tests.visits.conftest import some_slots, stand_at

pytestmark = pytest.mark.django_db
PICKUP, DROP_OFF = Visit.Kind.PICKUP, Visit.Kind.DROP_OFF


def kinds(commission: Commission) -> list[str]:
    return list(
        Email.objects.filter(thread__startswith=f"commission {commission.pk}")
        .order_by("id")
        .values_list("kind", flat=True)
    )


def test_a_booking_claims_its_quarter_hours_and_tells_both(ready: Commission, as_client: Who) -> None:
    slot = some_slots()[0]
    Email.objects.all().delete()
    visit = book(ready, PICKUP, slot.start, as_client)
    assert (visit.starts_at, visit.ends_at, visit.sequence, visit.state) == (
        slot.start,
        slot.end,
        0,
        "booked",
    )
    assert [cell.starts_at for cell in Cell.objects.order_by("starts_at")] == [
        slot.start,
        slot.start + timedelta(minutes=15),
    ]
    assert slot not in free(timezone.now())
    assert kinds(ready) == ["visit", "visit-changed"]
    line = journal_of(ready, for_client=True)[-1]
    assert line.verb == "pickup booked"
    assert line.words.startswith("Pickup booked: ")
    assert line.by == "client"


def test_a_move_is_the_same_visit_with_a_higher_sequence(ready: Commission, as_client: Who) -> None:
    first, second, *_ = some_slots()
    before = book(ready, PICKUP, first.start, as_client)
    after = book(ready, PICKUP, second.start, as_client)
    assert (after.pk, after.uid, after.sequence) == (before.pk, before.uid, 1)
    assert Visit.objects.count() == 1
    assert set(Cell.objects.values_list("starts_at", flat=True)) == {
        second.start,
        second.start + timedelta(minutes=15),
    }
    assert first in free(timezone.now())
    assert journal_of(ready)[-1].verb == "pickup moved"


def test_pressing_the_time_one_has_changes_nothing(ready: Commission, as_client: Who) -> None:
    slot = some_slots()[0]
    book(ready, PICKUP, slot.start, as_client)
    written = Email.objects.count()
    assert book(ready, PICKUP, slot.start, as_client).sequence == 0
    assert Email.objects.count() == written


def test_a_visit_may_move_within_the_time_it_takes_up_itself(
    ready: Commission, as_client: Who, shop: Shop
) -> None:
    Shop.objects.update(slot_minutes=60)
    slot = some_slots()[0]
    book(ready, PICKUP, slot.start, as_client)
    Shop.objects.update(slot_minutes=15)
    moved = book(ready, PICKUP, slot.start + timedelta(minutes=15), as_client)
    assert moved.ends_at - moved.starts_at == timedelta(minutes=15)
    assert Cell.objects.count() == 1


def test_a_cancelled_time_is_free_and_a_new_booking_is_another_visit(
    ready: Commission, as_client: Who
) -> None:
    slot = some_slots()[0]
    old = book(ready, PICKUP, slot.start, as_client)
    Email.objects.all().delete()
    cancel(old, as_client)
    assert (old.state, old.sequence) == ("cancelled", 1)
    assert not Cell.objects.exists()
    assert slot in free(timezone.now())
    assert kinds(ready) == ["visit-cancelled", "visit-changed"]
    new = book(ready, PICKUP, slot.start, as_client)
    assert new.uid != old.uid
    assert [visit.state for visit in visits_of(ready)] == ["cancelled", "booked"]


def test_what_is_cancelled_cannot_be_cancelled_again(ready: Commission, as_client: Who) -> None:
    visit = book(ready, PICKUP, some_slots()[0].start, as_client)
    cancel(visit, as_client)
    with pytest.raises(Refused, match="does not stand any more"):
        cancel(visit, as_client)
    assert Visit.objects.get().sequence == 1


def test_one_slot_goes_to_one_commission(
    ready: Commission, booked_other: Commission, as_client: Who, as_owner: Who
) -> None:
    slot = some_slots()[0]
    book(ready, PICKUP, slot.start, as_client)
    with pytest.raises(Refused) as no:
        book(booked_other, DROP_OFF, slot.start, as_owner)
    assert no.value.sentence == GONE
    assert no.value.field == "start"
    assert Visit.objects.count() == 1


def test_the_constraint_decides_when_both_have_looked(
    ready: Commission, booked_other: Commission, as_client: Who, as_owner: Who, monkeypatch: Any
) -> None:
    """The list of free times says yes to the second as well, as it does to two at once."""
    slot, other = some_slots(2)
    book(ready, PICKUP, slot.start, as_client)
    held = book(booked_other, DROP_OFF, other.start, as_owner)
    monkeypatch.setattr("shopdesk.visits.actions._free_slot", lambda *args: slot)
    with pytest.raises(Refused, match="just gone"):
        book(booked_other, DROP_OFF, slot.start, as_owner)
    held.refresh_from_db()
    assert (held.starts_at, held.sequence) == (other.start, 0)
    assert held.cells.count() == 2, "a move that fails leaves the visit where it was"


@pytest.fixture
def booked_other(client_person: Client, as_owner: Who) -> Commission:
    from shopdesk.commissions.actions import NewCommission, Wish, open_commission

    new = NewCommission(client=client_person, source="phone", wish=Wish("White, and plain."))
    return stand_at(open_commission(new, as_owner), Stage.BOOKED)


@pytest.mark.parametrize("stage", [stage for stage in Stage if stage != Stage.READY])
def test_a_pickup_only_from_ready(commission: Commission, as_owner: Who, stage: Stage) -> None:
    with pytest.raises(Refused):
        book(stand_at(commission, stage), PICKUP, some_slots()[0].start, as_owner)
    assert not Visit.objects.exists()


@pytest.mark.parametrize("stage", [stage for stage in Stage if stage != Stage.BOOKED])
def test_a_drop_off_only_from_booked_until_it_is_here(
    commission: Commission, as_owner: Who, stage: Stage
) -> None:
    with pytest.raises(Refused):
        book(stand_at(commission, stage), DROP_OFF, some_slots()[0].start, as_owner)
    assert not Visit.objects.exists()


def test_the_stage_is_the_one_in_the_database(booked: Commission, as_client: Who) -> None:
    """An old page does not know that the piece has come in meanwhile."""
    Commission.objects.update(stage=Stage.CHECKED_IN, checked_in_on=today_at(the_shop()))
    assert booked.stage == Stage.BOOKED
    with pytest.raises(Refused, match="here already"):
        book(booked, DROP_OFF, some_slots()[0].start, as_client)


@pytest.mark.parametrize(
    "off", [timedelta(minutes=5), timedelta(minutes=15), timedelta(hours=12), timedelta(days=365)]
)
def test_a_start_that_is_not_on_the_list_is_refused(ready: Commission, as_owner: Who, off: timedelta) -> None:
    with pytest.raises(Refused, match="These are free"):
        book(ready, PICKUP, some_slots()[0].start + off, as_owner)
    assert not Visit.objects.exists()
    assert not Cell.objects.exists()


def test_a_start_in_the_past_is_refused(ready: Commission, as_owner: Who) -> None:
    with pytest.raises(Refused, match="That time is over"):
        book(ready, PICKUP, some_slots()[0].start - timedelta(days=14), as_owner)


def test_the_notice_holds_for_the_client_and_not_for_the_owner(
    ready: Commission, as_client: Who, as_owner: Who, shop: Shop, clock: Callable[..., Any]
) -> None:
    slot = some_slots()[0]
    clock(slot.start - timedelta(hours=23))
    with pytest.raises(Refused, match="just gone"):
        book(ready, PICKUP, slot.start, as_client)
    visit = book(ready, PICKUP, slot.start, as_owner)
    later = next(one for one in free(timezone.now()) if one.start > slot.start)
    with pytest.raises(Refused, match=r"too close to the visit.*555-0118"):
        book(ready, PICKUP, later.start, as_client)
    with pytest.raises(Refused, match="too close to the visit"):
        cancel(visit, as_client)
    visit.refresh_from_db()
    assert (visit.state, visit.sequence) == ("booked", 0)
    cancel(visit, as_owner)
    assert visit.state == "cancelled"


def test_the_notice_limit_is_the_last_moment_to_move(
    ready: Commission, as_client: Who, clock: Callable[..., Any]
) -> None:
    first, second, *_ = some_slots()
    visit = book(ready, PICKUP, first.start, as_client)
    clock(first.start - timedelta(hours=24))
    assert book(ready, PICKUP, second.start, as_client).sequence == 1
    clock(second.start - timedelta(hours=24) + timedelta(seconds=1))
    with pytest.raises(Refused, match="too close"):
        cancel(visit, as_client)


def test_the_owner_books_and_the_shop_is_not_told_what_it_did(ready: Commission, as_owner: Who) -> None:
    Email.objects.all().delete()
    book(ready, PICKUP, some_slots()[0].start, as_owner)
    assert kinds(ready) == ["visit"]


def test_a_client_without_email_is_told_by_the_owner(
    ready: Commission,
    as_owner: Who,
    client_person: Client,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    Client.objects.update(email="")
    work()
    mailbox.clear()
    visit = book(ready, PICKUP, some_slots()[0].start, as_owner)
    cancel(visit, as_owner)
    work()
    assert not mailbox
    assert [email.kind for email in Email.objects.filter(way="tell").order_by("id")][-2:] == [
        "visit",
        "visit-cancelled",
    ]


def test_the_emails_say_when_and_where_and_carry_the_calendar(
    ready: Commission, as_client: Who, work: Callable[[], None], mailbox: list[EmailMessage], shop: Shop
) -> None:
    first, second, *_ = some_slots()
    book(ready, PICKUP, first.start, as_client)
    book(ready, PICKUP, second.start, as_client)
    cancel(Visit.objects.get(), as_client)
    work()
    to_client = [
        mail for mail in mailbox if mail.to == ["ottoline@example.com"] and "ickup" in str(mail.subject)
    ]
    assert [str(mail.subject).split(":")[0] for mail in to_client] == ["Booked", "Moved", "Cancelled"]
    assert "8 Slip Lane, Port Marrin" in str(to_client[0].body)
    assert "no longer on" in str(to_client[1].body)
    parsed = [message_from_bytes(mail.message().as_bytes(), policy=policy.default) for mail in to_client]
    parts = [part for one in parsed for part in one.walk()]
    # RFC 2046, section 1: each parameter stands once.
    assert [defect for part in parts for defect in part["Content-Type"].defects] == []
    said = [part["Content-Type"].params for part in parts if part.get_content_type() == "text/calendar"]
    assert said == [{"method": one, "charset": "utf-8"} for one in ("REQUEST", "REQUEST", "CANCEL")]
    to_shop = [str(mail.subject) for mail in mailbox if mail.to == ["hello@tidewell.example.com"]]
    assert [
        subject.split(",")[0].split(" to ")[0]
        for subject in to_shop
        if subject.startswith("Ottoline Brask: pickup")
    ] == [
        "Ottoline Brask: pickup booked",
        "Ottoline Brask: pickup moved",
        "Ottoline Brask: pickup cancelled",
    ]


def test_coming_is_what_stands_on_those_days(
    ready: Commission, as_client: Who, shop: Shop, django_assert_num_queries: Any
) -> None:
    slot = some_slots()[0]
    visit = book(ready, PICKUP, slot.start, as_client)
    day = slot.start.astimezone(shop.tz).date()
    with django_assert_num_queries(1):
        found = coming(shop, day, day)
        assert [(one.pk, one.commission.client.name) for one in found] == [(visit.pk, "Ottoline Brask")]
    assert coming(shop, day + timedelta(days=1), day + timedelta(days=30)) == []
    assert coming(shop, day - timedelta(days=30), day - timedelta(days=1)) == []
    cancel(visit, as_client)
    assert coming(shop, day, day) == []
