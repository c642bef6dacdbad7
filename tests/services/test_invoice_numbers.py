"""Invoice numbers when thirty-two presses come at one moment, and when some of them die half-way: no gaps,
none twice. On whatever database the suite runs on."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.db import transaction

from shopdesk.base.models import Counter
from shopdesk.base.once import once
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.changes import actions as changes
from shopdesk.changes.models import Change
from shopdesk.clients.models import Client
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission
from shopdesk.deposits import actions as money
from shopdesk.deposits import invoices
from shopdesk.deposits.models import AgreedChange, Invoice
from shopdesk.mail.models import Email
from shopdesk.quotes import actions as quotes
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.changes.making import propose
from tests.quotes.making import send
from tests.services.test_money_at_once import AT_ONCE, at_once, only_refusals

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


class Dies(Exception):
    """The process is gone before the commit."""


def agreed(client: Client, owner: Who, count: int) -> list[Commission]:
    """So many commissions, each accepted at 685.80."""
    who = Who("client", client.pk)
    made = []
    for number in range(count):
        wish = Wish(f"The {number}th of them")
        new = NewCommission(client=client, source="page", wish=wish, pieces=[NewPiece("writing desk")])
        commission = open_commission(new, who)
        quotes.accept(send(commission, owner).pk, [], "Ottoline Brask", who)
        made.append(commission)
    return made


def numbers() -> list[str]:
    return sorted(Invoice.objects.values_list("number", flat=True))


def test_thirty_two_at_once_without_gaps_or_doubles(client_person: Client, as_owner: Who, shop: Shop) -> None:
    commissions = agreed(client_person, as_owner, AT_ONCE)

    def press(number: int) -> None:
        invoices.issue(commissions[number], as_owner)

    assert at_once(press) == []
    year = f"{today_at(shop):%Y}"
    assert numbers() == [f"I-{year}-{n:04d}" for n in range(1, AT_ONCE + 1)]
    assert Email.objects.filter(kind="invoice").count() == AT_ONCE


def test_who_dies_half_way_gives_the_number_back(client_person: Client, as_owner: Who, shop: Shop) -> None:
    """Every third transaction ends before its commit, while the others wait for the counter."""
    commissions = agreed(client_person, as_owner, AT_ONCE)

    def press(number: int) -> None:
        with transaction.atomic():
            invoices.issue(commissions[number], as_owner)
            if number % 3 == 0:
                raise Dies

    raised = at_once(press)
    assert {type(error) for error in raised} == {Dies}
    left = AT_ONCE - len(raised)
    assert left == 21
    year = f"{today_at(shop):%Y}"
    assert numbers() == [f"I-{year}-{n:04d}" for n in range(1, left + 1)]
    assert Counter.objects.get(name=f"invoice {year}").last == left
    assert Email.objects.filter(kind="invoice").count() == left


def test_one_invoice_for_one_commission(client_person: Client, as_owner: Who) -> None:
    (commission,) = agreed(client_person, as_owner, 1)

    def press(number: int) -> None:
        invoices.issue(commission, as_owner)

    assert only_refusals(at_once(press)) == AT_ONCE - 1
    assert len(numbers()) == 1


def test_one_correction(client_person: Client, as_owner: Who) -> None:
    (commission,) = agreed(client_person, as_owner, 1)
    made = invoices.issue(commission, as_owner)

    def press(number: int) -> None:
        invoices.correct(made, f"A mistake, said {number}", as_owner)

    assert only_refusals(at_once(press)) == AT_ONCE - 1
    assert [one[-4:] for one in numbers()] == ["0001", "0002", "0003"]


def test_payments_and_invoices_share_one_row_of_numbers(
    client_person: Client, as_owner: Who, shop: Shop
) -> None:
    Shop.objects.update(charges_vat=True)
    commissions = agreed(client_person, as_owner, AT_ONCE // 2)
    today = today_at(shop)

    def press(number: int) -> None:
        commission = commissions[number // 2]
        if number % 2:
            invoices.issue(commission, as_owner)
        else:
            money.record_payment(commission, Decimal(100), today, "cash", "", as_owner)

    assert at_once(press) == []
    got = [int(one[-4:]) for one in numbers()]
    assert got == list(range(1, len(got) + 1))
    assert Invoice.objects.filter(kind="balance").count() == AT_ONCE // 2


def test_one_change_is_proposed_and_accepted_once(
    client_person: Client, as_owner: Who, as_client: Who
) -> None:
    (commission,) = agreed(client_person, as_owner, 1)

    def press(number: int) -> None:
        propose(commission, as_owner)

    assert only_refusals(at_once(press)) == AT_ONCE - 1
    change = Change.objects.get()
    assert Email.objects.filter(kind="change").count() == 1
    key = uuid.uuid4()

    def answer(number: int) -> None:
        who = as_client
        if number % 2:  # the same press twice, and others beside it
            once(key, lambda: str(changes.accept(change.pk, "Ottoline Brask", who)) and "/my/")
        elif number % 4:
            changes.decline(change.pk, "", who)
        else:
            changes.withdraw(change.pk, "", as_owner)

    for error in at_once(answer):
        assert isinstance(error, Refused), repr(error)
    change.refresh_from_db()
    accepted = change.state == Change.State.ACCEPTED
    assert AgreedChange.objects.count() == (1 if accepted else 0)
    assert Email.objects.filter(kind="change-accepted").count() == (1 if accepted else 0)
