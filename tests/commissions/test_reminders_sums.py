"""What a reminder says of money is what holds when its words are made, not when it was written."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission, Reminded, Stage
from shopdesk.commissions.reminders import say_anew, write_due
from shopdesk.deposits import actions as deposits
from shopdesk.deposits.models import Entry
from shopdesk.deposits.words import Price
from shopdesk.mail import returned, still
from shopdesk.mail.models import Email
from shopdesk.mail.queries import to_tell
from shopdesk.mail.words import words
from shopdesk.shop.models import Shop
from tests.commissions.reminding import (
    BEGIN,
    KINDS,
    Clock,
    a_deposit,
    at,
    due_moment,
    home_unpaid,
    pay,
    ready,
)
from tests.commissions.reminding import begin as begin

pytestmark = pytest.mark.django_db

OF_MONEY = ("deposit-due", "pickup-waiting", "balance-due")
"""Each is of $342.90 when it is written."""
BEFORE, PART, AFTER = "$342.90", Decimal(100), "$242.90"


def said(email: Email) -> str:
    email.refresh_from_db()
    made = words(email)
    return f"{made.subject}\n{made.text}"


def change(commission: Commission, owner: Who, client: Who) -> None:
    """Less is to be done, and so less is due."""
    price = Price(-PART, False, Decimal(0))
    deposits.agree_change(commission, number=1, said="No wax", price=price, on=BEGIN, who=owner)


def pay_part(commission: Commission, owner: Who, client: Who) -> None:
    pay(commission, owner, PART)


@pytest.mark.parametrize(
    ("kind", "do"),
    [
        *((kind, pay_part) for kind in OF_MONEY),
        ("pickup-waiting", change),
    ],
)
def test_what_the_owner_tells_is_the_sum_that_is_open_by_now(
    kind: str,
    do: Callable[[Commission, Who, Who], None],
    commission: Commission,
    shop: Shop,
    clock: Clock,
    as_owner: Who,
    as_client: Who,
) -> None:
    Client.objects.update(email="")
    commission.client.refresh_from_db()
    KINDS[kind][0](commission, as_owner, as_client)
    clock(due_moment(kind, shop))
    write_due()
    email = to_tell().get(kind=kind)
    phone, page = email.context["phone"], email.context["page"]
    assert BEFORE in said(email)
    do(commission, as_owner, as_client)
    assert AFTER in said(email)
    assert BEFORE not in said(email)
    assert (email.context["phone"], email.context["page"]) == (phone, page)
    assert email in to_tell()
    write_due()
    assert Email.objects.filter(kind=kind).count() == Reminded.objects.filter(kind=kind).count() == 1
    if do == pay_part:
        deposits.reverse(Entry.objects.latest("pk"), "It was somebody else’s", as_owner)
        assert BEFORE in said(email)


def test_what_waits_in_the_outbox_goes_with_the_new_sum_also_together_with_others(
    commission: Commission,
    shop: Shop,
    clock: Clock,
    as_owner: Who,
    as_client: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> None:
    ready(commission, as_owner, as_client)
    mirror = NewCommission(commission.client, "page", Wish("As it was"), [NewPiece("mirror")])
    other = open_commission(mirror, as_client)
    Commission.objects.filter(pk=other.pk).update(stage=Stage.READY, ready_at=timezone.now())
    work()
    clock(due_moment("pickup-waiting", shop))
    write_due()
    pay(commission, as_owner, PART)
    mailbox.clear()
    work()
    (mail,) = [one for one in mailbox if "mirror" in str(one.body) and "writing desk" in str(one.body)]
    assert AFTER in str(mail.body)
    assert BEFORE not in str(mail.body)
    first, second = Email.objects.filter(kind="pickup-waiting").order_by("pk")
    assert second.bundle_id == first.pk
    assert AFTER in said(first)


def test_one_that_has_its_words_keeps_them_until_they_are_made_anew(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who, work: Callable[[], None]
) -> None:
    """It went out; when it comes back after a payment, the owner tells what is open by then."""
    home_unpaid(commission, as_owner, as_client)
    clock(due_moment("balance-due", shop))
    work()
    email = Email.objects.get(kind="balance-due")
    assert email.worded_at is not None
    went_out = said(email)
    assert BEFORE in went_out
    pay(commission, as_owner, PART)
    assert said(email) == went_out
    Email.objects.filter(pk=email.pk).update(state=Email.State.FAILED)
    email.refresh_from_db()
    returned.tell_instead(email)
    assert AFTER in said(email)
    assert BEFORE not in said(email)


def test_one_that_nobody_needs_any_more_is_left_as_it_is(
    commission: Commission, shop: Shop, clock: Clock, as_owner: Who, as_client: Who
) -> None:
    a_deposit(commission, as_owner, as_client)
    clock(due_moment("deposit-due", shop))
    write_due()
    email = Email.objects.get(kind="deposit-due")
    clock(at(shop, 9))  # too late for the first, too early for the second
    pay(commission, as_owner, PART)
    assert BEFORE in said(email)
    assert not still.still_needed(email)


def test_a_payment_of_a_commission_without_reminders_asks_once_whether_there_are_any(
    commission: Commission, as_owner: Who, as_client: Who, django_assert_num_queries: Any
) -> None:
    a_deposit(commission, as_owner, as_client)
    with django_assert_num_queries(1):
        say_anew(commission)
