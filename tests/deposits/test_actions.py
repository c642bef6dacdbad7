"""The ledger: what comes in, what goes back, what was a mistake, and what stages learn from it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.mail import EmailMessage
from django.db import DatabaseError, connection, transaction
from django.test import Client as Browser
from django.urls import reverse as address

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, JournalLine, Stage
from shopdesk.commissions.stages import advance
from shopdesk.deposits import actions
from shopdesk.deposits.models import Entry, Receipt
from shopdesk.deposits.queries import Standing, standing, standings
from shopdesk.mail.models import Email
from shopdesk.quotes.actions import accept
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.quotes.making import send

pytestmark = pytest.mark.django_db
ZERO = Decimal(0)


@pytest.fixture
def agreed(commission: Commission, as_owner: Who, as_client: Who) -> Commission:
    """Accepted at 685.80, deposit 342.90."""
    accept(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    commission.refresh_from_db()
    return commission


@pytest.fixture
def today(shop: Shop) -> date:
    return today_at(shop)


def stands(commission: Commission) -> Standing:
    commission.refresh_from_db()
    found = standing(commission)
    assert found is not None
    return found


def test_the_deposit_books_the_place_in_one_email(agreed: Commission, as_owner: Who, today: date) -> None:
    entry = actions.record_payment(agreed, Decimal("342.90"), today, "transfer", "", as_owner)
    now = stands(agreed)
    assert (agreed.stage, now.due, now.deposit_open) == (Stage.BOOKED, Decimal("342.90"), ZERO)
    assert agreed.deposit_in_at is not None
    assert agreed.settled_at is None
    assert entry.receipt.number == f"R-{today:%Y}-0001"
    content = entry.receipt.document.content
    assert (content["amount"], content["purpose"], content["how"]) == (
        "$342.90",
        "The deposit.",
        "bank transfer",
    )
    assert [row["amount"] for row in content["sums"]] == ["$685.80", "−$342.90", "$342.90"]
    email = Email.objects.get(kind="receipt")
    assert (email.context["booked"], email.context["receipt"]) == ("yes", entry.receipt.number)
    assert email.enclosures.get().ref == entry.receipt.document.ref
    assert not Email.objects.filter(kind="booked").exists()


def test_the_deposit_may_come_in_parts(agreed: Commission, as_owner: Who, today: date) -> None:
    first = actions.record_payment(agreed, Decimal(300), today, "cash", "", as_owner)
    assert stands(agreed).deposit_open == Decimal("42.90")
    assert agreed.stage == Stage.AGREED
    assert first.receipt.document.content["purpose"] == "Part of the deposit."
    second = actions.record_payment(agreed, Decimal("385.80"), today, "card", "", as_owner)
    assert second.receipt.document.content["purpose"] == "The balance."
    assert stands(agreed).due == 0
    assert agreed.stage == Stage.BOOKED
    assert agreed.settled_at is not None
    assert [receipt.number[-4:] for receipt in Receipt.objects.order_by("id")] == ["0001", "0002"]


@pytest.mark.parametrize(
    ("amount", "days", "how", "sentence"),
    [
        ("0", 0, "cash", "more than zero"),
        ("-5", 0, "cash", "more than zero"),
        ("685.81", 0, "cash", r"No more than \$685.80 is due"),
        ("1.005", 0, "cash", "2 decimals"),
        ("10", 1, "cash", "still to come"),
        ("10", -900, "cash", "check the year"),
        ("10", 0, "", "how the money moved"),
        ("10", 0, "shells", "how the money moved"),
    ],
)
def test_nonsense_is_refused(
    agreed: Commission, as_owner: Who, today: date, amount: str, days: int, how: str, sentence: str
) -> None:
    with pytest.raises(Refused, match=sentence):
        actions.record_payment(agreed, Decimal(amount), today + timedelta(days=days), how, "", as_owner)
    assert not Entry.objects.exists()
    assert not Email.objects.filter(kind="receipt").exists()


def test_nothing_is_paid_before_anything_is_agreed(
    commission: Commission, as_owner: Who, today: date
) -> None:
    assert standing(commission) is None
    with pytest.raises(Refused, match="Nothing has been agreed"):
        actions.record_payment(commission, Decimal(10), today, "cash", "", as_owner)


def test_a_refused_payment_takes_no_number(agreed: Commission, as_owner: Who, today: date) -> None:
    actions.record_payment(agreed, Decimal(10), today, "cash", "", as_owner)
    with pytest.raises(Refused):
        actions.record_payment(agreed, Decimal(5000), today, "cash", "", as_owner)
    later = actions.record_payment(agreed, Decimal(10), today, "cash", "", as_owner)
    assert later.receipt.number.endswith("-0002")


def test_a_mistake_is_reversed_once(agreed: Commission, as_owner: Who, today: date) -> None:
    entry = actions.record_payment(agreed, Decimal("342.90"), today, "cash", "", as_owner)
    opposite = actions.reverse(entry, "Another commission's", as_owner)
    now = stands(agreed)
    assert (opposite.kind, opposite.amount) == ("reversed", Decimal("-342.90"))
    assert (now.received, now.due, now.deposit_open) == (ZERO, Decimal("685.80"), Decimal("342.90"))
    assert [one.taken_back for one in now.entries] == [True, False]
    assert agreed.deposit_in_at is None
    assert agreed.stage == Stage.BOOKED, "a stage that has moved on is not moved back"
    assert JournalLine.objects.filter(commission=agreed, verb="deposit open again").count() == 1
    assert Email.objects.filter(kind="receipt").order_by("-id")[0].context["what"] == "taken back"
    with pytest.raises(Refused, match="reversed already"):
        actions.reverse(entry, "Again", as_owner)
    with pytest.raises(Refused, match="not reversed"):
        actions.reverse(opposite, "Back", as_owner)


def test_a_reversal_says_why(agreed: Commission, as_owner: Who, today: date) -> None:
    entry = actions.record_payment(agreed, Decimal(10), today, "cash", "", as_owner)
    with pytest.raises(Refused, match="what the mistake was"):
        actions.reverse(entry, "  ", as_owner)


def test_what_has_been_given_back_cannot_be_reversed_away(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    entry = actions.record_payment(agreed, Decimal(100), today, "cash", "", as_owner)
    back = actions.refund(agreed, Decimal(60), today, "cash", "A scratch", as_owner, owed_again=True)
    with pytest.raises(Refused, match="given back"):
        actions.reverse(entry, "Oops", as_owner)
    assert stands(agreed).held == 40
    actions.reverse(back, "It was 50", as_owner)
    assert stands(agreed).held == 100


def test_the_ledger_cannot_be_edited(agreed: Commission, as_owner: Who, today: date) -> None:
    entry = actions.record_payment(agreed, Decimal(10), today, "cash", "", as_owner)
    entry.note = "changed"
    with pytest.raises(TypeError):
        entry.save()
    with pytest.raises(TypeError):
        Entry.objects.filter(pk=entry.pk).update(amount=Decimal(5))
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE deposits_entry SET amount = 1")


def test_money_back_lowers_the_price_unless_it_is_owed_again(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    actions.record_payment(agreed, Decimal("685.80"), today, "card", "", as_owner)
    actions.refund(agreed, Decimal(50), today, "cash", "A late finish", as_owner)
    now = stands(agreed)
    assert (now.held, now.waived, now.due) == (Decimal("635.80"), Decimal(50), ZERO)
    assert agreed.settled_at is not None
    actions.refund(agreed, Decimal(100), today, "card", "They pay in cash", as_owner, owed_again=True)
    now = stands(agreed)
    assert (now.held, now.due) == (Decimal("535.80"), Decimal(100))
    assert agreed.settled_at is None
    with pytest.raises(Refused, match="no more can be given back"):
        actions.refund(agreed, Decimal(600), today, "cash", "All of it", as_owner)


def test_the_deposit_is_let_off_with_a_reason(agreed: Commission, as_owner: Who, as_client: Who) -> None:
    with pytest.raises(Refused, match="why"):
        actions.let_off(agreed, " ", as_owner)
    with pytest.raises(Refused, match="the shop's"):
        actions.let_off(agreed, "Please", as_client)
    actions.let_off(agreed, "A regular", as_owner)
    now = stands(agreed)
    assert (agreed.stage, agreed.deposit_let_off, now.deposit_open, now.due) == (
        Stage.BOOKED, True, ZERO, Decimal("685.80"),
    )  # fmt: skip
    assert JournalLine.objects.get(commission=agreed, verb="booked").reason == "A regular"
    assert Email.objects.filter(kind="booked").count() == 1
    with pytest.raises(Refused, match="between"):
        actions.let_off(agreed, "Again", as_owner)


def test_cancelling_keeps_and_gives_back(agreed: Commission, as_owner: Who, today: date) -> None:
    actions.record_payment(agreed, Decimal("342.90"), today, "transfer", "", as_owner)
    with pytest.raises(Refused, match=r"holds \$342.90"):
        actions.settle_cancelled(agreed, Decimal(343), as_owner, how="transfer", on=today)
    said = actions.settle_cancelled(agreed, Decimal(200), as_owner, how="transfer", on=today)
    advance(agreed, Stage.CANCELLED, as_owner)
    assert said == "$200.00 is given back, bank transfer; $142.90 is kept by the shop. Nothing more is due."
    now = stands(agreed)
    assert (now.held, now.due, now.waived) == (Decimal("142.90"), ZERO, Decimal("542.90"))
    with pytest.raises(Refused, match="Nothing is due"):
        actions.record_payment(agreed, Decimal(1), today, "cash", "", as_owner)


def test_cancelling_before_any_money_books_nothing(agreed: Commission, as_owner: Who) -> None:
    said = actions.settle_cancelled(agreed, Decimal(0), as_owner)
    now = stands(agreed)
    assert said == "Nothing had been paid, and nothing is due."
    assert (agreed.stage, agreed.deposit_in_at, now.due) == (Stage.AGREED, None, ZERO)


def test_exact_cents(agreed: Commission, as_owner: Who, today: date) -> None:
    for _ in range(30):
        actions.record_payment(agreed, Decimal("0.10"), today, "cash", "", as_owner)
    assert stands(agreed).received == Decimal("3.00")
    assert str(stands(agreed).due) == "682.8000"


def test_many_accounts_cost_three_statements(
    agreed: Commission, as_owner: Who, today: date, django_assert_num_queries: Callable[[int], object]
) -> None:
    for _ in range(3):
        actions.record_payment(agreed, Decimal(10), today, "cash", "", as_owner)
    with django_assert_num_queries(3):  # type: ignore[attr-defined]
        found = standings([agreed])[agreed.pk]
        assert [entry.receipt.document.filename for entry in found.entries if not entry.taken_back]


def test_the_receipt_reaches_the_client(
    agreed: Commission, as_owner: Who, today: date, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    actions.record_payment(agreed, Decimal("342.90"), today, "transfer", "", as_owner)
    work()
    letter = next(mail for mail in mailbox if "booked" in mail.subject)
    assert letter.subject == f"Your place is booked: receipt R-{today:%Y}-0001"
    assert "We have your $342.90 with thanks: the deposit for your writing desk." in letter.body
    assert "Still due: $342.90, at hand-over." in letter.body
    assert len(letter.attachments) == 1


def test_a_mistake_found_after_cancelling_leaves_nothing_due(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    paid = actions.record_payment(agreed, Decimal("342.90"), today, "transfer", "", as_owner)
    actions.settle_cancelled(agreed, Decimal(0), as_owner)
    advance(agreed, Stage.CANCELLED, as_owner)
    actions.reverse(paid, "It was another client's", as_owner)
    now = stands(agreed)
    assert (now.held, now.due, now.owed, now.waived) == (ZERO, ZERO, ZERO, Decimal("685.80"))
    agreed.refresh_from_db()
    assert agreed.settled_at is not None
    assert not JournalLine.objects.filter(commission=agreed, verb="deposit open again").exists()
    email = Email.objects.filter(kind="receipt").order_by("-id")[0]
    assert (email.context["what"], email.context["due"]) == ("taken back", "")


def test_a_refund_that_was_none_is_kept_after_cancelling(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    actions.record_payment(agreed, Decimal("342.90"), today, "transfer", "", as_owner)
    actions.refund(agreed, Decimal(10), today, "cash", "A scratch", as_owner, owed_again=True)
    actions.record_payment(agreed, Decimal(10), today, "cash", "", as_owner)
    actions.settle_cancelled(agreed, Decimal(200), as_owner, how="transfer", on=today)
    advance(agreed, Stage.CANCELLED, as_owner)
    for amount, held in ((Decimal(-200), "342.90"), (Decimal(-10), "352.90")):
        entry = next(one for one in stands(agreed).entries if one.kind == "refunded" and one.amount == amount)
        actions.reverse(entry, "It never went out", as_owner)
        now = stands(agreed)
        assert (now.held, now.due, now.owed) == (Decimal(held), ZERO, ZERO)


def test_what_is_no_longer_due_goes_with_the_refund_it_was_written_beside(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    actions.record_payment(agreed, Decimal(300), today, "cash", "", as_owner)
    back = actions.refund(agreed, Decimal(50), today, "cash", "Less to do", as_owner)
    waived = Entry.objects.get(kind="waived")
    with pytest.raises(Refused, match="no payment"):
        actions.reverse(waived, "A slip", as_owner)
    actions.reverse(back, "It never went out", as_owner)
    now = stands(agreed)
    assert (now.held, now.waived, now.due) == (Decimal(300), ZERO, Decimal("385.80"))


def test_nothing_becomes_due_again_of_what_is_cancelled(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    actions.record_payment(agreed, Decimal(100), today, "cash", "", as_owner)
    actions.settle_cancelled(agreed, Decimal(0), as_owner)
    advance(agreed, Stage.CANCELLED, as_owner)
    with pytest.raises(Refused, match="due again"):
        actions.refund(agreed, Decimal(50), today, "cash", "Kindness", as_owner, owed_again=True)
    actions.refund(agreed, Decimal(50), today, "cash", "Kindness", as_owner)
    assert (stands(agreed).held, stands(agreed).due) == (Decimal(50), ZERO)


def test_only_what_moved_can_be_taken_back_at_the_desk(
    agreed: Commission, as_owner: Who, today: date, desk: Browser
) -> None:
    actions.record_payment(agreed, Decimal(100), today, "cash", "", as_owner)
    actions.settle_cancelled(agreed, Decimal(0), as_owner)
    advance(agreed, Stage.CANCELLED, as_owner)
    page = desk.get(f"/desk/c/{agreed.number}/").content.decode()
    paid, waived = (entry.pk for entry in stands(agreed).entries)
    assert reverse_url(agreed, paid) in page
    assert reverse_url(agreed, waived) not in page


def reverse_url(commission: Commission, entry: int) -> str:
    return address("desk:reverse", args=[commission.number, entry])
