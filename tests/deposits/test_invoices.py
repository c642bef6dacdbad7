"""Invoices: one that counts, numbers without gaps, VAT on payments that adds up, corrections by credits."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.db import transaction
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.bench.actions import cancel, make_ready
from shopdesk.changes.actions import accept as accept_change
from shopdesk.commissions.actions import set_facts
from shopdesk.commissions.models import Commission, Stage
from shopdesk.deposits import actions, invoices
from shopdesk.deposits.models import Account, Invoice
from shopdesk.deposits.queries import invoice_that_counts, invoices_of, standing
from shopdesk.mail.models import Email
from shopdesk.quotes.actions import accept
from shopdesk.quotes.typed import TypedLine, TypedPiece
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.changes.making import propose
from tests.quotes.making import send

pytestmark = pytest.mark.django_db
ZERO = Decimal(0)
IBAN = "DE89370400440532013000"


@pytest.fixture
def today(shop: Shop) -> date:
    return today_at(shop)


@pytest.fixture
def agreed(commission: Commission, as_owner: Who, as_client: Who) -> Commission:
    """Accepted at 758.30 with the first option (72.50, taxed): 750.90 and tax on 190.90, 11.93; in all
    762.83."""
    quote = send(commission, as_owner)
    accept(quote.pk, [quote.options.order_by("position")[0].pk], "Ottoline Brask", as_client)
    commission.refresh_from_db()
    return commission


@pytest.fixture
def vat_shop(shop: Shop) -> Shop:
    Shop.objects.update(
        charges_vat=True, tax_name="VAT", tax_rate=Decimal(19), tax_number="DE 123456788", currency="EUR",
        locale="en_IE", iban=IBAN, bic="COBADEFFXXX", bank_name="Hafenbank", bank_holder="Runa Castellan",
    )  # fmt: skip
    shop.refresh_from_db()
    return shop


@pytest.fixture
def taxed(vat_shop: Shop, commission: Commission, as_owner: Who, as_client: Who) -> Commission:
    """1,000.00 and 19 % VAT: 1,190.00, deposit 595.00, everything taxed."""
    piece = commission.pieces.get(position=1)
    row = TypedPiece(
        name=piece.name, words="All of it.", piece_id=piece.pk,
        lines=[TypedLine("finish", "All of it", Decimal(1000), Decimal(1), "", True)],
    )  # fmt: skip
    accept(send(commission, as_owner, pieces=[row], options=[]).pk, [], "Ottoline Brask", as_client)
    commission.refresh_from_db()
    return commission


def amounts(rows: list[dict[str, str]]) -> list[str]:
    return [row["amount"] for row in rows]


def content(invoice: Invoice) -> dict[str, Any]:
    return invoice.document.content


def test_an_invoice_says_what_was_agreed_and_paid(agreed: Commission, as_owner: Who, today: date) -> None:
    entry = actions.record_payment(agreed, Decimal("381.42"), today, "transfer", "", as_owner)
    made = invoices.issue(agreed, as_owner)
    assert made.number == f"I-{today:%Y}-0001"
    assert (made.net, made.tax, made.gross) == (Decimal("750.90"), Decimal("11.93"), Decimal("762.83"))
    said = content(made)
    assert [(row["name"], row["price"]) for row in said["rows"]] == [
        ("Writing desk", "678.40"),
        ("New brass knobs, fitted", "72.50"),
    ]
    assert "Quote" in said["about"][0]
    rows = {row["label"]: row["amount"] for row in said["sums"]}
    received = next(label for label in rows if label.startswith("Received"))
    assert received.endswith(f"bank transfer, receipt {entry.receipt.number}")
    assert rows == {
        "Together, without tax": "750.90",
        "Sales tax, 6.25 % on 190.90": "11.93",
        "Total": "$762.83",
        received: "−381.42",
        "Due now": "$381.41",
    }
    email = Email.objects.get(kind="invoice")
    assert email.enclosures.get().ref == made.document.ref
    assert email.context["due"] == "$381.41"


def test_one_counts_at_a_time(agreed: Commission, as_owner: Who, as_client: Who) -> None:
    made = invoices.issue(agreed, as_owner)
    with pytest.raises(Refused, match=f"{made.number} is out already"):
        invoices.issue(agreed, as_owner)
    with pytest.raises(Refused, match="shop's"):
        invoices.issue(agreed, as_client)
    assert Invoice.objects.count() == 1


def test_nothing_is_invoiced_before_anything_is_agreed(commission: Commission, as_owner: Who) -> None:
    with pytest.raises(Refused, match="Nothing has been agreed"):
        invoices.issue(commission, as_owner)


def test_an_invoice_is_corrected_by_a_credit_and_a_new_one(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    first = invoices.issue(agreed, as_owner)
    with pytest.raises(Refused, match="what was wrong"):
        invoices.correct(first, " ", as_owner)
    credit, new = invoices.correct(first, "The name was misspelt", as_owner)
    assert [one.number for one in invoices_of(agreed)] == [f"I-{today:%Y}-000{n}" for n in (1, 2, 3)]
    assert (credit.kind, credit.corrects, credit.gross) == ("credit", first, Decimal("-762.83"))
    assert content(credit)["about"][0].endswith("The name was misspelt.")
    assert amounts(content(credit)["sums"]) == ["−750.90", "−11.93", "−$762.83"]
    assert new.gross == first.gross
    assert invoice_that_counts(invoices_of(agreed)) == new
    with pytest.raises(Refused, match="taken back already"):
        invoices.correct(first, "Again", as_owner)
    email = Email.objects.filter(kind="invoice").order_by("-id")[0]
    assert email.enclosures.count() == 2
    assert (email.context["wrong"], email.context["credit"]) == (first.number, credit.number)
    with pytest.raises(TypeError):
        first.save()


def test_a_change_agreed_later_renews_the_invoice(agreed: Commission, as_owner: Who, as_client: Who) -> None:
    first = invoices.issue(agreed, as_owner)
    accept_change(propose(agreed, as_owner).pk, "Ottoline Brask", as_client)
    made = invoices_of(agreed)
    assert [one.kind for one in made] == ["balance", "credit", "balance"]
    assert made[1].corrects == first
    assert content(made[1])["about"][0].endswith("Change 1 was agreed.")
    rows = content(made[2])["rows"]
    assert rows[-1]["name"].startswith("Change 1, agreed on")
    assert (rows[-1]["words"], rows[-1]["price"]) == (["A new rail in ash, let in and glued."], "120.00")
    assert made[2].gross == Decimal("890.33")  # 870.90, and 6.25 % on 310.90: 19.43
    enclosed = {one.ref for one in Email.objects.get(kind="change-accepted").enclosures.all()}
    assert enclosed >= {made[1].document.ref, made[2].document.ref}


def test_ready_sends_the_invoice_once(agreed: Commission, as_owner: Who, as_client: Who) -> None:
    Commission.objects.filter(pk=agreed.pk).update(stage=Stage.DRYING, sample_promised=False)
    agreed.refresh_from_db()
    set_facts(agreed, final_shot_at=agreed.requested_at)
    make_ready(agreed, as_owner)
    (made,) = invoices_of(agreed)
    email = Email.objects.get(kind="ready")
    assert (email.context["invoice"], email.context["due"]) == ("yes", "$762.83")
    assert email.enclosures.get().ref == made.document.ref
    assert content(made)["done_on"]
    assert not Email.objects.filter(kind="invoice").exists()

    Commission.objects.filter(pk=agreed.pk).update(stage=Stage.DRYING)
    make_ready(agreed, as_owner)
    assert len(invoices_of(agreed)) == 1, "the one that is out is still right"
    assert Email.objects.filter(kind="ready").order_by("-id")[0].enclosures.get().ref == made.document.ref


def test_what_is_no_longer_due_is_not_invoiced(agreed: Commission, as_owner: Who, today: date) -> None:
    actions.record_payment(agreed, Decimal("762.83"), today, "card", "", as_owner)
    actions.refund(agreed, Decimal("62.83"), today, "card", "A late finish", as_owner)
    made = invoices.issue(agreed, as_owner)
    assert made.gross == Decimal("700.00")
    assert made.tax == Decimal("10.95"), "11.93 less the tax in 62.83 of 762.83"
    rows = content(made)["rows"]
    assert (rows[-1]["name"], rows[-1]["price"]) == ("No longer due", "−61.85")
    assert [row["amount"] for row in content(made)["sums"]][-3:] == ["−762.83", "62.83", "$0.00"]


def test_a_cancelled_commission_keeps_an_invoice_over_what_was_kept(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    actions.record_payment(agreed, Decimal("381.42"), today, "card", "", as_owner)
    first = invoices.issue(agreed, as_owner)
    cancel(agreed, "They move abroad", as_owner, give_back=Decimal("281.42"), how="card", on=today)
    _, new = invoices.correct(first, "Cancelled", as_owner)
    assert new.gross == Decimal(100)
    assert content(new)["sums"][-1]["label"] == "Nothing is due any more"


def test_all_taken_back_leaves_a_credit_alone(agreed: Commission, as_owner: Who, today: date) -> None:
    first = invoices.issue(agreed, as_owner)
    cancel(agreed, "They move abroad", as_owner)
    (credit,) = invoices.correct(first, "Cancelled", as_owner)
    assert credit.kind == "credit"
    assert invoice_that_counts(invoices_of(agreed)) is None
    email = Email.objects.filter(kind="invoice").order_by("-id")[0]
    assert email.context["invoice"] == ""
    with pytest.raises(Refused, match="nothing to invoice"):
        invoices.issue(agreed, as_owner)


def test_without_vat_a_payment_has_a_receipt_alone(agreed: Commission, as_owner: Who, today: date) -> None:
    entry = actions.record_payment(agreed, Decimal(100), today, "card", "", as_owner)
    assert entry.invoice_or_none is None
    assert not Invoice.objects.exists()


def test_the_deposit_gets_a_vat_invoice(taxed: Commission, as_owner: Who, today: date) -> None:
    entry = actions.record_payment(taxed, Decimal("595.00"), today, "transfer", "", as_owner)
    vat = Invoice.objects.get()
    assert (vat.kind, vat.entry, vat.number) == ("deposit", entry, f"I-{today:%Y}-0001")
    assert (vat.net, vat.tax, vat.gross) == (Decimal(500), Decimal(95), Decimal(595))
    said = content(vat)
    assert said["heading"] == "VAT invoice for the deposit"
    assert said["shop"]["tax_number"] == "DE 123456788"
    assert amounts(said["sums"]) == ["500.00", "95.00", "€595.00", "−595.00", "0.00"]
    email = Email.objects.get(kind="receipt")
    assert [one.ref for one in email.enclosures.order_by("id")] == [
        entry.receipt.document.ref, vat.document.ref,
    ]  # fmt: skip


def test_the_vat_of_payments_and_invoice_adds_up(taxed: Commission, as_owner: Who, today: date) -> None:
    """Thirds of 1,190.00 hold VAT of 63.33 each; the invoice states the cent that is left."""
    for _ in range(2):
        actions.record_payment(taxed, Decimal("396.67"), today, "transfer", "", as_owner)
    made = invoices.issue(taxed, as_owner)
    vat = content(made)["vat"]
    assert [(row["net"], row["tax"], row["gross"]) for row in vat] == [
        ("1,000.00", "190.00", "1,190.00"),
        ("−333.34", "−63.33", "−396.67"),
        ("−333.34", "−63.33", "−396.67"),
        ("333.32", "63.34", "396.66"),
    ]
    labels = [row["label"] for row in content(made)["sums"]]
    assert sum(f"VAT invoice I-{today:%Y}-000{n}" in label for label in labels for n in (1, 2)) == 2
    actions.record_payment(taxed, Decimal("396.66"), today, "transfer", "", as_owner)
    assert Invoice.objects.count() == 3, "what the invoice has stated is not invoiced again"


def test_paid_in_full_ahead_the_payments_state_all_the_vat(
    taxed: Commission, as_owner: Who, today: date
) -> None:
    for amount in ("396.67", "396.67", "396.66"):
        actions.record_payment(taxed, Decimal(amount), today, "transfer", "", as_owner)
    made = Invoice.objects.all()
    assert sum(one.tax for one in made) == Decimal("190.00")
    assert sum(one.gross for one in made) == Decimal("1190.00")
    last = content(invoices.issue(taxed, as_owner))["vat"][-1]
    assert (last["net"], last["tax"], last["gross"]) == ("0.00", "0.00", "0.00")


def test_partly_taxed_splits_in_proportion(
    vat_shop: Shop, commission: Commission, as_owner: Who, as_client: Who, today: date
) -> None:
    """118.40 of 678.40 is taxed at 19 %: 22.50, in all 700.90. Half of that, 350.45, holds 11.25."""
    accept(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    actions.record_payment(commission, Decimal("350.45"), today, "card", "", as_owner)
    vat = Invoice.objects.get()
    assert (vat.net, vat.tax) == (Decimal("339.20"), Decimal("11.25"))


def test_a_mistaken_payment_takes_its_vat_invoice_with_it(
    taxed: Commission, as_owner: Who, today: date
) -> None:
    entry = actions.record_payment(taxed, Decimal("595.00"), today, "transfer", "", as_owner)
    balance = invoices.issue(taxed, as_owner)
    actions.reverse(entry, "Another commission's", as_owner)
    made = invoices_of(taxed)
    assert [(one.kind, one.gross) for one in made] == [
        ("deposit", Decimal(595)),
        ("balance", Decimal(1190)),
        ("credit", Decimal(-595)),
        ("credit", Decimal(-1190)),
        ("balance", Decimal(1190)),
    ]
    assert made[3].corrects == balance
    assert content(made[4])["vat"] == []
    email = Email.objects.filter(kind="receipt").order_by("-id")[0]
    assert email.enclosures.count() == 3


def test_bank_and_payment_code(taxed: Commission, as_owner: Who, today: date) -> None:
    accepted = Email.objects.get(kind="quote-accepted")
    assert accepted.context["bank"][:2] == [
        {"label": "Account holder", "value": "Runa Castellan"},
        {"label": "IBAN", "value": "DE89 3704 0044 0532 0130 00"},
    ]
    made = content(invoices.issue(taxed, as_owner))
    assert made["code_ref"].startswith("code:")
    assert made["code_alt"] == (
        f"Payment code for banking apps: €1,190.00 to Runa Castellan, for Invoice I-{today:%Y}-0001"
    )
    assert [line["value"] for line in made["bank"]][2:] == ["COBADEFFXXX", "Hafenbank"]


def test_no_code_outside_the_euro_or_when_nothing_is_due(
    agreed: Commission, as_owner: Who, today: date
) -> None:
    Shop.objects.update(bank_words="Routing 021000021\n\nAccount 000123", bank_name="Quay Savings")
    made = content(invoices.issue(agreed, as_owner))
    assert made["code_ref"] == ""
    assert [(line["label"], line["value"]) for line in made["bank"]] == [
        ("Account holder", "Tidewell Bench"),
        ("Bank", "Quay Savings"),
        ("", "Routing 021000021"),
        ("", "Account 000123"),
    ]
    actions.record_payment(agreed, Decimal("762.83"), today, "card", "", as_owner)
    out = invoice_that_counts(invoices_of(agreed))
    assert out is not None
    _, new = invoices.correct(out, "Paid meanwhile", as_owner)
    assert content(new)["bank"] == []


def test_a_rollback_gives_the_number_back(agreed: Commission, as_owner: Who, today: date) -> None:
    with transaction.atomic():
        assert invoices.issue(agreed, as_owner).number.endswith("-0001")
        transaction.set_rollback(True)
    assert not Invoice.objects.exists()
    assert invoices.issue(agreed, as_owner).number == f"I-{today:%Y}-0001"


def test_an_account_from_before_has_an_invoice_too(agreed: Commission, as_owner: Who) -> None:
    """What was accepted before accounts knew their tax."""
    Account.objects.update(agreed={}, tax_rate=ZERO, tax=ZERO, taxable=ZERO)
    made = invoices.issue(agreed, as_owner)
    assert [(row["name"], row["price"]) for row in content(made)["rows"]] == [("What was agreed", "762.83")]
    assert amounts(content(made)["sums"]) == ["$762.83", "$762.83"]


def test_the_desk_issues_and_corrects(desk: Browser, agreed: Commission) -> None:
    here = reverse("desk:invoice", args=[agreed.number])
    assert "Issue it now" in desk.get(here).content.decode()
    page = desk.post(here, follow=True).content.decode()
    assert "is out. It is never edited" in page
    assert desk.post(here, {"reason": ""}).status_code == 422
    desk.post(here, {"reason": "A wrong address"})
    assert [one.kind for one in invoices_of(agreed)] == ["balance", "credit", "balance"]
    page = desk.get(reverse("desk:commission", args=[agreed.number])).content.decode()
    for one in invoices_of(agreed):
        assert one.number in page


def test_the_client_finds_their_invoice(
    portal: Browser, agreed: Commission, as_owner: Who, work: Callable[[], None], mailbox: list[EmailMessage]
) -> None:
    made = invoices.issue(agreed, as_owner)
    work()
    page = portal.get(reverse("portal:commission", args=[agreed.number])).content.decode()
    assert f"Invoice {made.number}" in page
    answer = portal.get(reverse("portal:document", args=[made.document.key]))
    assert answer["Content-Type"] == "application/pdf"
    letter = next(mail for mail in mailbox if made.number in mail.subject)
    assert "Still due, after what you have paid: $762.83." in letter.body


def test_an_account_added_up_names_its_papers(taxed: Commission, as_owner: Who, today: date) -> None:
    actions.record_payment(taxed, Decimal("595.00"), today, "transfer", "", as_owner)
    found = standing(taxed)
    assert found is not None
    assert found.entries[0].invoice_or_none is not None
    assert found.entries[0].invoice.document.filename.startswith("invoice-I-")


def test_rush_and_discount_have_rows_of_their_own(
    commission: Commission, as_owner: Who, as_client: Who
) -> None:
    """The rows add up to what stands without tax, whatever the quote is made of."""
    other = {
        "rush": True,
        "rush_share": Decimal(10),
        "discount": Decimal("46.24"),
        "discount_words": "A friend",
    }
    accept(send(commission, as_owner, **other).pk, [], "Ottoline Brask", as_client)
    made = invoices.issue(commission, as_owner)
    assert [(row["name"], row["price"]) for row in content(made)["rows"]] == [
        ("Writing desk", "678.40"),
        ("Done sooner, 10 %", "67.84"),
        ("A friend", "−46.24"),
    ]
    assert made.net == Decimal("700.00")
