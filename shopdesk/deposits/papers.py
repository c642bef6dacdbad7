"""What receipts and invoices are made of, as strings ready to print (`templates/documents/`)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from shopdesk.commissions.letterhead import bank_lines, letterhead, payment_code
from shopdesk.commissions.models import Commission
from shopdesk.craft.money import quantize
from shopdesk.craft.rounding import EXACT
from shopdesk.deposits.models import Entry, Invoice
from shopdesk.deposits.queries import ZERO, Figures, Standing
from shopdesk.deposits.words import AgreedRow, how_words, purpose_of, sums_of
from shopdesk.look import formats
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at

__all__ = ["Written", "bank_lines"]

Written = Callable[[str], dict[str, Any]]
"""A document's content, once its number is known."""


def receipt_content(
    commission: Commission,
    shop: Shop,
    *,
    number: str,
    entry: Entry,
    purpose: str,
    after: Standing,
    today: date,
) -> dict[str, Any]:
    """All that a receipt says."""
    return {
        **letterhead(shop, commission.client),
        "number": number,
        "commission_number": commission.number,
        "received_on": formats.day(entry.on, shop.locale),
        "written_on": formats.day(today, shop.locale),
        "how": how_words(entry.how),
        "amount": formats.money(entry.amount, after.currency, shop.locale),
        "purpose": f"{purpose}.",
        "sums": sums_of(after, shop),
        "bank": bank_lines(shop) if after.due else [],
        "bank_head": "For the rest, by bank transfer",
    }


def deposit_content(
    commission: Commission, shop: Shop, number: str, entry: Entry, before: Standing, part: Figures
) -> dict[str, Any]:
    """A VAT invoice for a payment that came before the work was done."""
    write = _Write(before, shop)
    purpose = purpose_of(before, entry.amount)
    purpose = purpose[0].lower() + purpose[1:]
    paid = f"Received {formats.day(entry.on, shop.locale)}, {how_words(entry.how)}"
    return {
        **_head(commission, shop, number, before),
        "heading": f"VAT invoice for {purpose}",
        "name": "Invoice",
        "about": [f"A payment ahead of the work. {_said(before)}"],
        "head": "What it is for",
        "rows": [_row(f"{purpose.capitalize()}: {_all_pieces(before)}", write.amount(part.net))],
        "sums": [
            *write.tax_rows(part, taxed=_base(before, part)),
            {"label": "Together", "amount": write.money(part.gross), "kind": "total"},
            {"label": paid, "amount": write.amount(EXACT.minus(part.gross)), "kind": "after"},
            {"label": "Due on this invoice", "amount": write.amount(ZERO), "kind": "after"},
        ],
    }


def balance_content(
    commission: Commission, shop: Shop, number: str, account: Standing, earlier: Sequence[Invoice]
) -> dict[str, Any]:
    """The invoice over all that was agreed, with what has been paid, and what stays due."""
    write = _Write(account, shop)
    figures = account.invoiced
    agreed = account.account.agreed
    rows = [*agreed.get("pieces", []), *agreed.get("options", [])]
    if not rows:
        before = account.account.price - account.account.tax
        rows = [_row("What was agreed", write.amount(before))]
    rows += [
        _row(f"Change {change.number}, agreed on {write.day(change.agreed_on)}", write.amount(change.net),
             [change.words])
        for change in account.changes
    ]  # fmt: skip
    if account.waived:
        rows.append(_row("No longer due", write.amount(-account.part(account.waived).net)))
    stated = [one for one in earlier if one.kind == Invoice.Kind.DEPOSIT and not one.taken_back]
    return {
        **_head(commission, shop, number, account),
        "heading": f"Invoice {number}",
        "name": "Invoice",
        "about": [_said(account)] if _said(account) else [],
        "head": "What was agreed and done",
        "rows": rows,
        "sums": [
            *write.tax_rows(figures, taxed=_base(account, figures)),
            {"label": "Total", "amount": write.money(figures.gross), "kind": "total"},
            *_moved(account, write),
            *_left(account, write),
        ],
        "vat": _vat_rows(account, figures, stated, write),
        "bank": bank_lines(shop) if account.due else [],
        "bank_head": "By bank transfer",
        "reference": f"Please name invoice {number}.",
        **payment_code(shop, account.currency, account.due, f"Invoice {number}", write.money(account.due)),
    }


def credit_content(
    commission: Commission, shop: Shop, number: str, wrong: Invoice, account: Standing, reason: str
) -> dict[str, Any]:
    """The paper that takes back an invoice."""
    write = _Write(account, shop)
    figures = Figures(-wrong.net, -wrong.tax, -wrong.gross)
    out = f"Invoice {wrong.number} of {write.day(wrong.issued_on)}"
    return {
        **_head(commission, shop, number, account),
        "heading": f"Credit {number}",
        "name": "Credit",
        "about": [f"{out} counts no more. {reason[:1].upper()}{reason[1:].rstrip('.')}."],
        "head": "What is taken back",
        "rows": [_row(f"{out}, the whole of it", write.amount(figures.net))],
        "sums": [
            *write.tax_rows(figures, taxed=_base(account, figures)),
            {"label": "Total", "amount": write.money(figures.gross), "kind": "total"},
        ],
    }


def stated_before(earlier: Sequence[Invoice]) -> Figures:
    """What the VAT invoices for payments, those that count, come to together."""
    stated = [one for one in earlier if one.kind == Invoice.Kind.DEPOSIT and not one.taken_back]
    return Figures(
        sum((one.net for one in stated), ZERO),
        sum((one.tax for one in stated), ZERO),
        sum((one.gross for one in stated), ZERO),
    )


class _Write:
    """Figures and days as this account's papers write them."""

    def __init__(self, account: Standing, shop: Shop) -> None:
        self.currency, self.shop = account.currency, shop
        self.tax_name, self.rate = account.account.tax_name, account.account.tax_rate

    def amount(self, value: Decimal) -> str:
        return formats.amount(value, self.currency, self.shop.locale)

    def money(self, value: Decimal) -> str:
        return formats.money(value, self.currency, self.shop.locale)

    def day(self, value: date) -> str:
        return formats.day(value, self.shop.locale)

    def tax_rows(self, figures: Figures, *, taxed: Decimal) -> list[dict[str, str]]:
        """Net and tax, where there is a tax."""
        if not self.rate:
            return []
        label = f"{self.tax_name}, {formats.number(self.rate, self.shop.locale)} %"
        if taxed != figures.net:
            label += f" on {self.amount(taxed)}"
        return [
            {"label": "Together, without tax", "amount": self.amount(figures.net), "kind": "sum"},
            {"label": label, "amount": self.amount(figures.tax), "kind": "sum"},
        ]


def _head(commission: Commission, shop: Shop, number: str, account: Standing) -> dict[str, Any]:
    return {
        **letterhead(shop, commission.client),
        "number": number,
        "commission_number": commission.number,
        "issued_on": formats.day(today_at(shop), shop.locale),
        "done_on": formats.day(commission.ready_at.astimezone(shop.tz).date(), shop.locale)
        if commission.ready_at
        else "",
        "currency_code": account.currency,
        "vat": [],
        "bank": [],
    }


def _row(name: str, price: str, words: Sequence[str] = ()) -> AgreedRow:
    return {"name": name, "size": "", "words": [one for one in words if one], "price": price}


def _said(account: Standing) -> str:
    said = str(account.account.agreed.get("said", ""))
    return f"{said}." if said else ""


def _all_pieces(account: Standing) -> str:
    names = [str(row["name"]) for row in account.account.agreed.get("pieces", [])]
    return formats.listed([name[:1].lower() + name[1:] for name in names]) or "what was agreed"


def _base(account: Standing, figures: Figures) -> Decimal:
    """How much of a part's net the tax was taken on, in the proportion of the whole."""
    net = account.agreed.net
    if not net or account.taxed == net:
        return figures.net
    whole = EXACT.multiply(figures.net, EXACT.divide(account.taxed, net))
    return quantize(whole, account.currency)


def _moved(account: Standing, write: _Write) -> list[dict[str, str]]:
    """Each payment that counts, and what went back."""
    rows = []
    for entry in account.entries:
        if entry.taken_back or entry.kind not in (Entry.Kind.RECEIVED, Entry.Kind.REFUNDED):
            continue
        papers = [f"receipt {entry.receipt.number}"] if entry.receipt_or_none else []
        if entry.invoice_or_none:
            papers.append(f"VAT invoice {entry.invoice.number}")
        what = entry.get_kind_display().capitalize()
        label = ", ".join([f"{what} {write.day(entry.on)}", how_words(entry.how), *papers])
        rows.append({"label": label, "amount": write.amount(entry.counts), "kind": "after"})
    return rows


def _left(account: Standing, write: _Write) -> list[dict[str, str]]:
    if account.owed:
        return [{"label": "Yours: we give it back", "amount": write.money(account.owed), "kind": "total"}]
    label = "Due now" if account.due else "Nothing is due any more"
    return [{"label": label, "amount": write.money(account.due), "kind": "total"}]


def _vat_rows(
    account: Standing, figures: Figures, stated: Sequence[Invoice], write: _Write
) -> list[dict[str, str]]:
    """How the tax is spread over the VAT invoices for payments and this one: rows that add up."""
    if not stated:
        return []

    def row(label: str, part: Figures) -> dict[str, str]:
        return {
            "label": label,
            "net": write.amount(part.net),
            "tax": write.amount(part.tax),
            "gross": write.amount(part.gross),
        }

    before = [
        row(f"Less invoice {one.number}, {write.day(one.issued_on)}", Figures(-one.net, -one.tax, -one.gross))
        for one in stated
    ]
    return [
        row("All that was agreed", figures),
        *before,
        row("In this invoice", figures.less(stated_before(stated))),
    ]
