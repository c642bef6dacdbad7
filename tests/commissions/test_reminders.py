"""Reminders: each on its day and once, none for what is done."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.commissions import reminders
from shopdesk.commissions.actions import set_facts
from shopdesk.commissions.models import Commission, JournalLine, Reminded, Stage
from shopdesk.commissions.reminders import write_due
from shopdesk.commissions.stages import advance, locked
from shopdesk.deposits import invoices
from shopdesk.deposits.models import Account
from shopdesk.deposits.queries import invoice_that_counts, invoices_of
from shopdesk.mail import still
from shopdesk.mail.catalogue import about, kinds
from shopdesk.mail.models import Email
from shopdesk.mail.words import words
from shopdesk.shop.models import Shop
from shopdesk.visits.actions import book
from shopdesk.visits.queries import free
from tests.commissions.reminding import (
    BEGIN,
    DONE,
    KINDS,
    Clock,
    Done,
    a_deposit,
    a_sample,
    at,
    days_of,
    due_moment,
    home_unpaid,
    ready,
    written,
    yes,
)
from tests.commissions.reminding import begin as begin

pytestmark = pytest.mark.django_db


def test_every_reminder_of_the_catalogue_is_one_that_goes_and_can_be_asked_about() -> None:
    assert {kind.kind for kind in reminders.kinds()} == set(KINDS)
    assert {kind for kind in kinds() if about(kind).sort == Email.Sort.REMINDER} == set(KINDS)
    assert [kind.kind for kind in reminders.kinds()] == list(KINDS), "in the order of a commission's life"
    assert all(kind in still._checks for kind in KINDS)
    for kind in KINDS:
        assert about(kind).goes.endswith("."), kind


@pytest.mark.parametrize("kind", KINDS)
def test_each_goes_on_its_days_and_on_no_other(
    kind: str, commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    make, days = KINDS[kind]
    make(commission, as_owner, as_client)
    assert days_of(kind, shop, clock, 50) == days
    assert Reminded.objects.filter(kind=kind).count() == len(days)
    assert not Reminded.objects.filter(kind=kind, email=None).exists()


@pytest.mark.parametrize("kind", KINDS)
def test_it_can_be_read(
    kind: str, commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    make, days = KINDS[kind]
    make(commission, as_owner, as_client)
    for day in days:
        clock(at(shop, day))
        write_due()
    emails = list(Email.objects.filter(kind=kind).order_by("pk"))
    assert len(emails) == len(days)
    for email in emails:
        said = words(email)
        assert "writing desk" in said.subject + said.text
        assert "None" not in said.text
        assert "  " not in said.subject
        assert email.stop == f"shopdesk-link:stop/{commission.client.grant.pk}/reminder"
        assert email.can_wait == (kind != "visit-reminder")
    assert JournalLine.objects.filter(commission=commission, verb="reminded").count() >= len(days)


def test_the_over_due_deposit_is_said_otherwise(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    Shop.objects.update(iban="DE89370400440532013000")
    a_deposit(commission, as_owner, as_client)
    for day in (5, 10):
        clock(at(shop, day))
        write_due()
    before, after = (words(email) for email in Email.objects.filter(kind="deposit-due").order_by("pk"))
    assert "is due September 9" in before.subject
    assert "kept" in after.subject
    assert "there is nothing to do" in after.text
    for said in (before, after):
        assert "$342.90" in said.text
        assert "DE89 3704 0044 0532 0130 00" in said.text


def test_who_accepts_late_has_just_been_told_when_the_deposit_is_due(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    a_deposit(commission, as_owner, as_client)
    Account.objects.update(deposit_due_on=BEGIN + timedelta(days=2))
    assert days_of("deposit-due", shop, clock, 30) == [5]


def test_an_invoice_says_what_is_due_as_well(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    home_unpaid(commission, as_owner, as_client)
    out = invoice_that_counts(invoices_of(commission))
    assert out is not None
    clock(at(shop, 4, 8))
    Commission.objects.update(stage_since=at(shop, 1))
    invoices.correct(out, "The name was wrong", as_owner)
    assert days_of("balance-due", shop, clock, 30) == [15]


# -- none for what is done ---------------------------------------------------------------------------------


class _Undo(Exception):
    pass


@contextmanager
def undone() -> Iterator[None]:
    """What is done in here is taken back at its end."""
    try:
        with transaction.atomic():
            yield
            raise _Undo
    except _Undo:
        pass


@pytest.mark.parametrize(("kind", "do"), DONE)
def test_none_for_what_is_done_a_second_before(
    kind: str,
    do: Done,
    commission: Commission,
    shop: Shop,
    clock: Clock,
    as_owner: Who,
    as_client: Who,
    monkeypatch: Any,
) -> None:
    KINDS[kind][0](commission, as_owner, as_client)
    due = due_moment(kind, shop)

    with undone():  # before the worker looks
        clock(due - timedelta(seconds=1))
        do(commission, as_owner, as_client)
        clock(due)
        write_due()
        assert written(kind) == 0

    looked: list[int] = []

    def it_was_first(commission_id: int) -> Commission:
        looked.append(commission_id)
        monkeypatch.setattr(reminders, "locked", locked)
        do(commission, as_owner, as_client)
        return locked(commission_id)

    commission.refresh_from_db()
    with undone():  # the worker has it on its list, and does not have the commission's lock yet
        monkeypatch.setattr(reminders, "locked", it_was_first)
        write_due()
        assert looked == [commission.pk], "it was on the list"
        assert written(kind) == 0
        assert not Reminded.objects.filter(kind=kind).exists()

    commission.refresh_from_db()
    write_due()  # it is written, and waits in the outbox
    email = Email.objects.get(kind=kind)
    assert still.still_needed(email)
    do(commission, as_owner, as_client)
    assert not still.still_needed(email)


def test_what_is_not_needed_any_more_reaches_nobody(
    commission: Commission,
    shop: Shop,
    clock: Clock,
    as_owner: Who,
    as_client: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    a_sample(commission, as_owner, as_client)
    clock(at(shop, 2))
    work()
    mailbox.clear()
    clock(at(shop, 3))
    write_due()
    yes(commission, as_owner, as_client)
    work()
    email = Email.objects.get(kind="sample-waiting")
    assert (email.state, email.not_needed_at) == (Email.State.DONE, at(shop, 3))
    assert [mail.subject for mail in mailbox if mail.to == ["ottoline@example.com"]] == []


def test_a_step_whose_time_is_over_is_not_handed_over_beside_the_next(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    """The mail server was away for four days: the one after three days is not sent on top of the one after
    seven."""
    ready(commission, as_owner, as_client)
    for day in (3, 7):
        clock(at(shop, day))
        write_due()
    first, second = Email.objects.filter(kind="pickup-waiting").order_by("pk")
    assert not still.still_needed(first)
    assert still.still_needed(second)


# -- none twice --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_two_workers_write_one(
    kind: str,
    commission: Commission,
    shop: Shop,
    clock: Clock,
    as_owner: Who,
    as_client: Who,
    monkeypatch: Any,
) -> None:
    KINDS[kind][0](commission, as_owner, as_client)
    clock(due_moment(kind, shop))

    def the_other_was_first(commission_id: int) -> Commission:
        monkeypatch.setattr(reminders, "locked", locked)
        write_due()
        return locked(commission_id)

    monkeypatch.setattr(reminders, "locked", the_other_was_first)
    write_due()
    assert written(kind) == 1


def test_what_becomes_ready_anew_is_reminded_of_anew(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    ready(commission, as_owner, as_client)
    clock(at(shop, 3))
    write_due()
    bench.begin_work(commission, as_owner)
    clock(at(shop, 5, 14))
    bench.make_ready(commission, as_owner)
    assert days_of("pickup-waiting", shop, clock, 40) == [8, 12, 19]


# -- when --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("back_on", "count"), [(8, 1), (13, 1), (16, 1), (27, 1), (28, 0), (90, 0)])
def test_a_worker_that_was_away_writes_the_latest_alone_and_none_whose_time_is_over(
    commission: Commission,
    shop: Shop,
    clock: Clock,
    as_owner: Who,
    as_client: Who,
    back_on: int,
    count: int,
) -> None:
    ready(commission, as_owner, as_client)
    clock(at(shop, back_on, 11))
    write_due()
    write_due()
    assert written("pickup-waiting") == count


def test_a_visit_is_reminded_of_late_but_not_once_it_has_begun(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    ready(commission, as_owner, as_client)
    slot = next(slot for slot in free(timezone.now()) if slot.start > at(shop, 6, 15))
    book(commission, "pickup", slot.start, as_client)
    clock(slot.start)
    write_due()
    assert written("visit-reminder") == 0
    clock(slot.start - timedelta(seconds=1))
    write_due()
    assert written("visit-reminder") == 1
    said = words(Email.objects.get(kind="visit-reminder"))
    assert "omorrow" not in said.subject + said.text, "it says the day, which stays true"
    clock(slot.start)
    assert not still.still_needed(Email.objects.get(kind="visit-reminder"))


@pytest.mark.parametrize(
    ("quiet_from", "quiet_until", "first"),
    [
        (time(20), time(8), time(9)),
        (time(22), time(10, 30), time(10, 30)),
        (time(11), time(11), time(9)),
        (time(0), time(6), time(9)),
        (time(20), time(23, 30), time(9)),
        (time(13), time(15), time(9)),
        (time(8), time(12), time(12)),
        (time(8), time(7), time(9)),  # they end tomorrow: written at nine, it waits in the outbox
    ],
)
def test_the_morning_begins_at_nine_or_when_the_quiet_hours_end(
    commission: Commission,
    shop: Shop,
    clock: Clock,
    as_owner: Who,
    as_client: Who,
    quiet_from: time,
    quiet_until: time,
    first: time,
) -> None:
    Shop.objects.update(quiet_from=quiet_from, quiet_until=quiet_until)
    ready(commission, as_owner, as_client)
    moment = at(shop, 3, first.hour, first.minute)
    clock(moment - timedelta(seconds=1))
    write_due()
    assert written("pickup-waiting") == 0
    clock(moment)
    write_due()
    assert written("pickup-waiting") == 1


@pytest.mark.parametrize(
    ("zone", "began", "nine"),
    [
        # The clocks go back on 1 November 2026 and forward on 14 March 2027 (IANA tzdata, America/New_York).
        ("America/New_York", "2026-10-29 23:30", "2026-11-01 14:00"),
        ("America/New_York", "2027-03-11 00:15", "2027-03-14 13:00"),
        # Forward at two on 27 September 2026, and nine in the morning is the evening before in UTC.
        ("Pacific/Auckland", "2026-09-24 23:59", "2026-09-26 20:00"),
    ],
)
def test_days_are_the_shops_also_when_the_clocks_change(
    commission: Commission, shop: Shop, clock: Clock, zone: str, began: str, nine: str
) -> None:
    """Three days after a late evening is the third morning on the wall, whatever the hours between."""
    Shop.objects.update(zone=zone)
    since = datetime.fromisoformat(began).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
    Commission.objects.update(stage=Stage.READY, stage_since=since, ready_at=since)
    moment = datetime.fromisoformat(nine).replace(tzinfo=UTC)
    assert write_due(moment - timedelta(seconds=1)) == 0
    assert write_due(moment) == 1


def test_one_that_cannot_be_written_keeps_none_of_the_others_back(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who, monkeypatch: Any
) -> None:
    a_sample(commission, as_owner, as_client)
    set_facts(commission, final_shot_at=timezone.now(), colour_agreed_at=timezone.now())
    advance(commission, Stage.READY, as_owner)
    clock(at(shop, 3))
    kind = reminders._kinds["sample-waiting"]

    def broken(*_: Any) -> Any:
        raise ValueError("no words")

    monkeypatch.setitem(
        reminders._kinds, "sample-waiting", reminders.Kind(**{**kind.__dict__, "said": broken})
    )
    assert write_due() == 1
    assert (written("sample-waiting"), written("pickup-waiting")) == (0, 1)
    assert not Reminded.objects.filter(kind="sample-waiting").exists()
    monkeypatch.setitem(reminders._kinds, "sample-waiting", kind)
    assert write_due() == 1
