"""Reminders that are switched off, that are told by voice, and what of them comes next."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.clients.models import Client
from shopdesk.commissions import reminders
from shopdesk.commissions.actions import set_facts
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, JournalLine, Reminded, ReminderOff
from shopdesk.commissions.reminders import Coming, of_commission, write_due
from shopdesk.commissions.switches import switch, switch_kind
from shopdesk.mail import still
from shopdesk.mail.catalogue import about
from shopdesk.mail.models import Email
from shopdesk.mail.queries import to_tell
from shopdesk.mail.words import words
from shopdesk.shop.models import Shop
from shopdesk.visits.reminders import storage_terms
from tests.commissions.reminding import (
    DONE,
    KINDS,
    Clock,
    a_quote,
    a_sample,
    at,
    due_moment,
    ready,
    written,
    yes,
)
from tests.commissions.reminding import begin as begin

pytestmark = pytest.mark.django_db


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
