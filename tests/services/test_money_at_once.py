"""Many presses at one moment: one acceptance, one payment, one reversal. On whatever database the suite runs
on."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from decimal import Decimal
from threading import Barrier, Thread

import pytest
from django.db import connection

from shopdesk.base.once import once
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.deposits import actions as money
from shopdesk.deposits.models import Account, Entry, Receipt
from shopdesk.deposits.queries import standing
from shopdesk.mail.models import Email
from shopdesk.quotes import actions
from shopdesk.quotes.models import Acceptance
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.quotes.making import send, typed

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]
AT_ONCE = 32


def at_once(press: Callable[[int], None]) -> list[BaseException]:
    """Press from `AT_ONCE` threads at one moment. Returns what they raised; nobody may hang."""
    start = Barrier(AT_ONCE)
    raised: list[BaseException] = []

    def run(number: int) -> None:
        try:
            connection.ensure_connection()
            start.wait(30)
            press(number)
        except BaseException as error:  # noqa: BLE001  the test looks at every one of them
            raised.append(error)
        finally:
            connection.close()

    threads = [Thread(target=run, args=[number]) for number in range(AT_ONCE)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
        assert not thread.is_alive()
    return raised


def only_refusals(raised: list[BaseException]) -> int:
    for error in raised:
        assert isinstance(error, Refused), repr(error)
    return len(raised)


def test_one_acceptance(commission: Commission, as_owner: Who, as_client: Who) -> None:
    quote = send(commission, as_owner)
    options = [option.pk for option in quote.options.all()]

    def press(number: int) -> None:
        actions.accept(quote.pk, [options[number % 2]], f"Ottoline Brask {number}", as_client)

    assert only_refusals(at_once(press)) == AT_ONCE - 1
    assert Acceptance.objects.count() == Account.objects.count() == 1
    assert Email.objects.filter(kind="quote-accepted").count() == 1
    assert JournalLine.objects.filter(commission=commission, verb=Stage.AGREED).count() == 1
    account = Account.objects.get()
    assert account.price == Acceptance.objects.get().total


def test_one_payment_for_one_key(commission: Commission, as_owner: Who, as_client: Who, shop: Shop) -> None:
    actions.accept(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    key, today = uuid.uuid4(), today_at(shop)
    landings: list[str] = []

    def press(number: int) -> None:
        def do() -> str:
            money.record_payment(commission, Decimal(100), today, "cash", "", as_owner)
            return "/desk/"

        landings.append(once(key, do))

    assert at_once(press) == []
    assert landings == ["/desk/"] * AT_ONCE
    assert Entry.objects.count() == Receipt.objects.count() == 1
    assert Email.objects.filter(kind="receipt").count() == 1


def test_never_more_than_is_due_and_numbers_without_gaps(
    commission: Commission, as_owner: Who, as_client: Who, shop: Shop
) -> None:
    actions.accept(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    today = today_at(shop)

    def press(number: int) -> None:
        money.record_payment(commission, Decimal(100), today, "cash", "", as_owner)

    assert only_refusals(at_once(press)) == AT_ONCE - 6, "six hundreds go into 685.80"
    numbers = sorted(Receipt.objects.values_list("number", flat=True))
    assert [number[-4:] for number in numbers] == ["0001", "0002", "0003", "0004", "0005", "0006"]
    account = standing(commission)
    assert account is not None
    assert account.due == Decimal("85.80")
    assert JournalLine.objects.filter(commission=commission, verb=Stage.BOOKED).count() == 1


def test_one_reversal(commission: Commission, as_owner: Who, as_client: Who, shop: Shop) -> None:
    actions.accept(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    entry = money.record_payment(commission, Decimal(100), today_at(shop), "cash", "", as_owner)

    def press(number: int) -> None:
        money.reverse(entry, f"A mistake, said {number}", as_owner)

    assert only_refusals(at_once(press)) == AT_ONCE - 1
    assert Entry.objects.filter(kind="reversed").count() == 1


def test_one_email_for_one_quote(commission: Commission, as_owner: Who) -> None:
    draft = actions.start(commission, as_owner)
    edition = actions.save(commission, typed(commission), draft.edition, as_owner).edition

    def press(number: int) -> None:
        actions.send(commission, edition, as_owner)

    assert only_refusals(at_once(press)) == AT_ONCE - 1
    assert Email.objects.filter(kind="quote").count() == 1
