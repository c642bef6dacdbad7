"""Reminders: each on its day and once, none for what is done, none where it is switched off."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.clients.models import Client
from shopdesk.colours import actions as colours
from shopdesk.colours.actions import NewSample
from shopdesk.colours.models import Sample
from shopdesk.commissions import reminders
from shopdesk.commissions.actions import set_facts
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, JournalLine, Reminded, ReminderOff, Stage
from shopdesk.commissions.reminders import Coming, of_commission, write_due
from shopdesk.commissions.stages import advance, locked
from shopdesk.commissions.switches import switch, switch_kind
from shopdesk.conversation.actions import say_to_shop
from shopdesk.deposits import actions as deposits
from shopdesk.deposits import invoices
from shopdesk.deposits.models import Account
from shopdesk.deposits.queries import invoice_that_counts, invoices_of, standing
from shopdesk.mail import still
from shopdesk.mail.catalogue import about, kinds
from shopdesk.mail.models import Email
from shopdesk.mail.queries import to_tell
from shopdesk.mail.words import words
from shopdesk.quotes.actions import accept, start
from shopdesk.shop.models import Shop
from shopdesk.visits.actions import book
from shopdesk.visits.queries import free
from shopdesk.visits.reminders import storage_terms
from tests.quotes.making import send

pytestmark = pytest.mark.django_db
Clock = Callable[[datetime], datetime]
BEGIN = date(2026, 9, 2)
"""A Wednesday."""


def at(shop: Shop, days: int, hour: int = 9, minute: int = 0) -> datetime:
    """So many days after `BEGIN`, on the shop's wall."""
    return datetime.combine(BEGIN + timedelta(days=days), time(hour, minute), shop.tz).astimezone(UTC)


@pytest.fixture(autouse=True)
def begin(shop: Shop, clock: Clock) -> None:
    """It is two in the afternoon of the first day."""
    clock(at(shop, 0, 14))


def written(kind: str) -> int:
    return Email.objects.filter(kind=kind).count()


def days_of(kind: str, shop: Shop, clock: Clock, last: int) -> list[int]:
    """Sweep at nine and again in the evening of each day up to `last`: on which days it was written."""
    found: list[int] = []
    for day in range(last + 1):
        for hour in (9, 19):
            if at(shop, day, hour) > at(shop, 0, 14):
                before = written(kind)
                clock(at(shop, day, hour))
                write_due()
                found += [day] * (written(kind) - before)
    return found


# -- how each comes to be due ------------------------------------------------------------------------------


def a_quote(commission: Commission, owner: Who, client: Who) -> None:
    send(commission, owner)  # good for fourteen days


def a_deposit(commission: Commission, owner: Who, client: Who) -> None:
    accept(send(commission, owner).pk, [], "Ottoline Brask", client)
    Account.objects.update(deposit_due_on=BEGIN + timedelta(days=7))


def a_sample(commission: Commission, owner: Who, client: Who) -> None:
    a_deposit(commission, owner, client)
    pay(commission, owner, Decimal("342.90"))
    bench.check_in(commission, BEGIN, owner)
    bench.begin_work(commission, owner)
    colours.propose(commission.pieces.get(), NewSample("Slipway brown"), owner)


def ready(commission: Commission, owner: Who, client: Who) -> None:
    a_sample(commission, owner, client)
    set_facts(commission, final_shot_at=timezone.now())
    yes(commission, owner, client)
    bench.make_ready(commission, owner)


def home_unpaid(commission: Commission, owner: Who, client: Who) -> None:
    ready(commission, owner, client)
    bench.hand_over(commission, owner, past="A regular")


def home(commission: Commission, owner: Who, client: Who) -> None:
    ready(commission, owner, client)
    pay(commission, owner, Decimal("342.90"))
    bench.hand_over(commission, owner)


def a_visit(commission: Commission, owner: Who, client: Who) -> None:
    ready(commission, owner, client)
    slot = next(slot for slot in free(timezone.now()) if slot.start.date() == BEGIN + timedelta(days=8))
    book(commission, "pickup", slot.start, client)


def pay(commission: Commission, owner: Who, amount: Decimal | None = None) -> None:
    account = standing(commission)
    assert account is not None
    deposits.record_payment(commission, amount or account.due, BEGIN, "transfer", "", owner)


# -- how each can be done ----------------------------------------------------------------------------------


def yes(commission: Commission, owner: Who, client: Who) -> None:
    sample = Sample.objects.get(state="proposed")
    colours.approve(sample.pk, "Ottoline Brask", client)


def another(commission: Commission, owner: Who, client: Who) -> None:
    sample = Sample.objects.get(state="proposed")
    colours.ask_again(sample.pk, "Ottoline Brask", "Too red.", client)


def accepted(commission: Commission, owner: Who, client: Who) -> None:
    from shopdesk.quotes.models import Quote

    accept(Quote.objects.get().pk, [], "Ottoline Brask", client)


def revising(commission: Commission, owner: Who, client: Who) -> None:
    start(commission, owner)


def paid(commission: Commission, owner: Who, client: Who) -> None:
    pay(commission, owner)


def let_off(commission: Commission, owner: Who, client: Who) -> None:
    deposits.let_off(commission, "A regular", owner)


def on_hold(commission: Commission, owner: Who, client: Who) -> None:
    bench.hold(commission, "Waiting for hinges", owner)


def cancelled(commission: Commission, owner: Who, client: Who) -> None:
    bench.cancel(commission, "They moved away", owner)


def booked(commission: Commission, owner: Who, client: Who) -> None:
    slot = next(slot for slot in free(timezone.now()) if slot.start > timezone.now() + timedelta(days=4))
    book(commission, "pickup", slot.start, client)


def back_on_the_bench(commission: Commission, owner: Who, client: Who) -> None:
    bench.begin_work(commission, owner)


def fetched(commission: Commission, owner: Who, client: Who) -> None:
    bench.hand_over(commission, owner, past="A regular")


def wrote(commission: Commission, owner: Who, client: Who) -> None:
    say_to_shop(commission, "One drawer sticks.", client)


def visit_moved(commission: Commission, owner: Who, client: Who) -> None:
    slot = next(slot for slot in free(timezone.now()) if slot.start > timezone.now() + timedelta(days=4))
    book(commission, "pickup", slot.start, owner)


Done = Callable[[Commission, Who, Who], None]
KINDS: dict[str, tuple[Done, list[int]]] = {
    "quote-expiring": (a_quote, [11]),
    "deposit-due": (a_deposit, [5, 10]),
    "sample-waiting": (a_sample, [3, 7]),
    "visit-reminder": (a_visit, [7]),
    "pickup-waiting": (ready, [3, 7, 14]),
    "balance-due": (home_unpaid, [3, 14]),
    "settling-in": (home, [30]),
}
DONE: list[tuple[str, Done]] = [
    ("quote-expiring", accepted),
    ("quote-expiring", revising),
    ("deposit-due", paid),
    ("deposit-due", let_off),
    ("deposit-due", on_hold),
    ("deposit-due", cancelled),
    ("sample-waiting", yes),
    ("sample-waiting", another),
    ("sample-waiting", on_hold),
    ("sample-waiting", cancelled),
    ("visit-reminder", back_on_the_bench),
    ("visit-reminder", fetched),
    ("visit-reminder", visit_moved),
    ("pickup-waiting", booked),
    ("pickup-waiting", back_on_the_bench),
    ("pickup-waiting", fetched),
    ("pickup-waiting", on_hold),
    ("pickup-waiting", cancelled),
    ("balance-due", paid),
    ("settling-in", wrote),
]


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


def due_moment(kind: str, shop: Shop) -> datetime:
    return at(shop, KINDS[kind][1][0])


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


# -- switched off ------------------------------------------------------------------------------------------


def off_for_the_shop(commission: Commission, kind: str, who: Who, on: bool) -> None:
    switch_kind(kind, on=on, who=who)


def off_for_the_client(commission: Commission, kind: str, who: Who, on: bool) -> None:
    switch_kind(kind, on=on, who=who, client=commission.client)


def off_for_the_commission(commission: Commission, kind: str, who: Who, on: bool) -> None:
    switch_kind(kind, on=on, who=who, commission=commission)


def all_off_for_the_client(commission: Commission, kind: str, who: Who, on: bool) -> None:
    switch([commission.client], "reminder", on=on, who=who)


LEVELS = [off_for_the_shop, off_for_the_client, off_for_the_commission, all_off_for_the_client]


@pytest.mark.parametrize("kind", KINDS)
def test_switched_off_none_goes_and_switched_on_it_does(
    kind: str, commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    KINDS[kind][0](commission, as_owner, as_client)
    clock(due_moment(kind, shop))
    for level in LEVELS:
        level(commission, kind, as_owner, False)
        level(commission, kind, as_owner, False)  # a second press changes nothing
        write_due()
        assert written(kind) == 0, level
        level(commission, kind, as_owner, True)
        assert not ReminderOff.objects.exists()
    write_due()
    email = Email.objects.get(kind=kind)
    for level in LEVELS:  # what waits in the outbox is not sent either
        assert still.still_needed(email)
        level(commission, kind, as_owner, False)
        assert not still.still_needed(email), level
        level(commission, kind, as_owner, True)


@pytest.mark.parametrize("level", LEVELS[1:])
def test_switched_off_for_one_it_goes_to_the_others(
    level: Any, commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    from shopdesk.clients.actions import know_client
    from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission

    other = know_client(name="Teal Ambrose", email="teal@example.com", phone="")
    theirs = open_commission(NewCommission(other, "page", Wish("A bench."), [NewPiece("bench")]), as_owner)
    a_quote(commission, as_owner, as_client)
    a_quote(theirs, as_owner, as_client)
    level(commission, "quote-expiring", as_owner, False)
    clock(due_moment("quote-expiring", shop))
    assert write_due() == 1
    assert Email.objects.get(kind="quote-expiring").to_address == "teal@example.com"


def test_another_kind_goes_all_the_same(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    a_quote(commission, as_owner, as_client)
    for kind in set(KINDS) - {"quote-expiring"}:
        switch_kind(kind, on=False, who=as_owner)
    clock(due_moment("quote-expiring", shop))
    assert write_due() == 1


def test_a_client_who_switches_off_this_moment_is_not_written_to(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who, monkeypatch: Any
) -> None:
    """The worker has looked again and is about to write."""
    a_quote(commission, as_owner, as_client)
    clock(due_moment("quote-expiring", shop))

    def too_late(one: Commission, *args: Any, **kwargs: Any) -> Any:
        one.client.no_reminders_since = timezone.now()
        return to_client(one, *args, **kwargs)

    monkeypatch.setattr(reminders, "to_client", too_late)
    assert write_due() == 0
    assert written("quote-expiring") == 0
    assert not Reminded.objects.exists()
    assert not JournalLine.objects.filter(verb="reminded").exists()


def test_news_that_is_switched_off_is_shown_and_not_written(
    commission: Commission, as_owner: Who, as_client: Who, client_person: Client
) -> None:
    from shopdesk.progress.actions import show
    from shopdesk.progress.models import Update

    a_sample(commission, as_owner, as_client)
    show(commission, "The first coat is on.", as_owner)
    waiting = Email.objects.get(kind="progress")
    assert waiting.stop == f"shopdesk-link:stop/{client_person.grant.pk}/news"
    assert still.still_needed(waiting)
    switch([client_person], "news", on=False, who=as_client)
    assert not still.still_needed(waiting), "what waits in the outbox is not sent either"
    commission.refresh_from_db()
    show(commission, "The second coat is on.", as_owner)
    assert Update.objects.count() == 2
    assert Email.objects.filter(kind="progress").count() == 1
    yes(commission, as_owner, as_client)
    set_facts(commission, final_shot_at=timezone.now())
    bench.make_ready(commission, as_owner)
    assert Email.objects.filter(kind="ready").exists(), "what is necessary always goes"
    assert Email.objects.get(kind="ready").stop == ""


# -- without email -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_for_somebody_without_email_it_stands_on_the_owners_list_until_it_is_done(
    kind: str, commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    Client.objects.update(email="")
    commission.client.refresh_from_db()
    KINDS[kind][0](commission, as_owner, as_client)
    clock(due_moment(kind, shop))
    write_due()
    email = Email.objects.get(kind=kind)
    assert (email.way, email.context["phone"]) == ("tell", "555-0131")
    assert "stop/" not in words(email).text, "there is no email to stop"
    assert email in to_tell()
    write_due()
    assert email in to_tell()
    do = next(do for name, do in DONE if name == kind)
    do(commission, as_owner, as_client)
    clock(timezone.now().replace(hour=23) + timedelta(hours=6))  # at night too
    write_due()
    assert email not in to_tell()
    email.refresh_from_db()
    assert (email.told_at, email.not_needed_at) == (None, timezone.now())


# -- what comes next ---------------------------------------------------------------------------------------


def to_come(commission: Commission, shop: Shop, kind: str) -> list[Coming]:
    there = of_commission(commission, shop, timezone.now(), most=20).coming
    return [one for one in there if one.occasion.kind == kind]


@pytest.mark.parametrize("kind", KINDS)
def test_the_desk_says_what_will_come_and_when_and_that_is_what_comes(
    kind: str, commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    make, days = KINDS[kind]
    make(commission, as_owner, as_client)
    commission.refresh_from_db()
    said = to_come(commission, shop, kind)
    assert [one.at for one in said] == [at(shop, day) for day in days]
    assert said[0].about.title == about(kind).title
    clock(at(shop, days[0]))
    write_due()
    left = to_come(commission, shop, kind)
    assert [one.at for one in left] == [at(shop, day) for day in days[1:]]
    switch_kind(kind, on=False, who=as_owner, commission=commission)
    assert not to_come(commission, shop, kind)
    assert of_commission(commission, shop, timezone.now()).off == [about(kind)]
    switch_kind(kind, on=False, who=as_owner)
    assert of_commission(commission, shop, timezone.now()).off == [about(kind)]
    switch_kind(kind, on=True, who=as_owner, commission=commission)
    assert of_commission(commission, shop, timezone.now()).off == []
    assert not to_come(commission, shop, kind), "off for all"


def test_what_is_due_already_comes_now_or_in_the_morning(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    ready(commission, as_owner, as_client)
    commission.refresh_from_db()
    for hour, comes_at in ((7, 9), (11, 11)):
        first, *_ = of_commission(commission, shop, clock(at(shop, 4, hour))).coming
        assert first.at == at(shop, 4, comes_at)


# -- storage -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("terms", "said"),
    [
        ("The deposit books the place.", ""),
        ("We restored it once.\nWe keep a store of brass.", "We keep a store of brass."),
        (
            "The deposit books the place.\nWhat is not collected within 30 days is stored at $5 a day.",
            "What is not collected within 30 days is stored at $5 a day.",
        ),
        ("What has not been collected 30 days later may cost storage.", None),
    ],
)
def test_only_the_last_names_storage_and_only_as_the_shops_terms_do(
    commission: Commission,
    shop: Shop,
    clock: Clock,
    as_owner: Who,
    as_client: Who,
    terms: str,
    said: str | None,
) -> None:
    Shop.objects.update(terms=terms)
    shop.refresh_from_db()
    said = terms if said is None else said
    assert storage_terms(shop) == said
    ready(commission, as_owner, as_client)
    for day in (3, 7, 14):
        clock(at(shop, day))
        write_due()
    emails = Email.objects.filter(kind="pickup-waiting").order_by("pk")
    *earlier, last = (words(email).text for email in emails)
    assert all("storage" not in text for text in earlier)
    assert ("storage" in last) == bool(said)
    assert said in last
