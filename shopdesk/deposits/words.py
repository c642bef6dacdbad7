"""What is said about money: the receipt's content, the account as a short column of sums, what a payment was
for."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from shopdesk.commissions.letterhead import letterhead
from shopdesk.commissions.models import Commission
from shopdesk.craft.rounding import EXACT
from shopdesk.deposits.models import Entry
from shopdesk.deposits.queries import Standing
from shopdesk.look import formats
from shopdesk.shop.models import Shop


def purpose_of(before: Standing, amount: Decimal) -> str:
    """What a payment is for, by where the account stood before it."""
    open_deposit = before.deposit_open
    if amount == before.due:
        return "Payment in full" if before.settled_part == 0 else "The balance"
    if not open_deposit:
        return "Part of the balance"
    if amount < open_deposit:
        return "Part of the deposit"
    return "The deposit" if amount == open_deposit else "The deposit, and part of the balance"


def how_words(how: str) -> str:
    return str(Entry.How(how).label) if how else ""


def sums_of(standing: Standing, shop: Shop) -> list[dict[str, str]]:
    """The account as label, amount and kind ("sum", "total", "after")."""

    def written(value: Decimal) -> str:
        return formats.money(value, standing.currency, shop.locale)

    sums = [("Price agreed, tax included", standing.price, "sum")]
    if standing.waived:
        sums.append(("No longer due", EXACT.minus(standing.waived), "sum"))
    if standing.received:
        sums.append(("Received so far", EXACT.minus(standing.received), "sum"))
    if standing.refunded:
        sums.append(("Given back", standing.refunded, "sum"))
    sums.append(("Still due" if standing.due else "Nothing is due any more", standing.due, "total"))
    if standing.deposit_open and standing.deposit_open < standing.due:
        sums.append(("Of that, still open of the deposit", standing.deposit_open, "after"))
    return [{"label": label, "amount": written(value), "kind": kind} for label, value, kind in sums]


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
    """All that a receipt is made of, as strings ready to print."""
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
    }
