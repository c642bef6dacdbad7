"""What is said about money: the account as a short column of sums, what a payment was for, what a change
comes to."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, TypedDict, cast

from shopdesk.base.refusals import Refused
from shopdesk.commissions.models import Commission
from shopdesk.craft.money import LARGEST
from shopdesk.craft.pricing import TaxRule
from shopdesk.craft.rounding import EXACT
from shopdesk.craft.taxes import tax_of_change
from shopdesk.deposits.models import Entry
from shopdesk.deposits.queries import ZERO, Standing, standing
from shopdesk.look import formats
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop


class AgreedRow(TypedDict):
    """One thing that was agreed, with its price without tax. `size` and `words` may be empty."""

    name: str
    size: str
    words: list[str]
    price: str


class Agreed(TypedDict):
    """What was accepted, as strings ready to print: `said` names the quote ("Quote 26-014, revision 2,
    accepted 3 May")."""

    said: str
    pieces: list[AgreedRow]
    options: list[AgreedRow]


@dataclass(frozen=True)
class Price:
    """What a change costs: below zero when it costs less."""

    net: Decimal
    taxable: bool
    tax: Decimal

    @property
    def gross(self) -> Decimal:
        return EXACT.add(self.net, self.tax)


def tax_rule(standing: Standing) -> TaxRule:
    """The rule of the accepted quote, which holds for what is agreed later."""
    account = standing.account
    basis = cast(Literal["item", "invoice"], account.tax_basis)
    return TaxRule(account.tax_rate, basis, account.tax_name)


def price_of_change(standing: Standing, net: Decimal, taxable: bool) -> Price:
    """A change of `net` with its tax, by the accepted quote's rule. Raises `Refused` when it takes off more
    than there is."""
    tax = ZERO
    if taxable and standing.account.tax_rate:
        try:
            tax = tax_of_change(
                net,
                tax_rule(standing),
                taxed_before=standing.taxed,
                tax_before=standing.agreed.tax,
                currency=standing.currency,
            )
        except ValueError as error:
            raise Refused(str(error), field="price") from error
    price = Price(net, taxable, tax)
    check_change(standing, price)
    return price


def check_change(standing: Standing, price: Price) -> None:
    """Refuse a change after which less than nothing would be agreed, or more than can be believed."""
    after = EXACT.add(standing.price, price.gross)
    if after < 0 or EXACT.add(standing.agreed.net, price.net) < 0:
        raise Refused("It takes off more than was agreed in all.", field="price")
    if after > LARGEST:
        raise Refused("That is more than is believable; please check the price.", field="price")


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


def due_words(commission: Commission) -> str:
    """What is still due by now, as it is written; empty when nothing is."""
    account = standing(commission)
    if account is None or not account.due:
        return ""
    return formats.money(account.due, account.currency, the_shop().locale)


def with_tax(standing: Standing) -> str:
    """ ", tax included" where there is any in what was agreed."""
    return ", tax included" if standing.agreed.tax else ""


def how_words(how: str) -> str:
    return str(Entry.How(how).label) if how else ""


def sums_of(standing: Standing, shop: Shop) -> list[dict[str, str]]:
    """The account as label, amount and kind ("sum", "total", "after")."""

    def written(value: Decimal) -> str:
        return formats.money(value, standing.currency, shop.locale)

    changes = len(standing.changes)
    label = f"Price agreed{with_tax(standing)}"
    if changes:
        label = (
            f"Price agreed with {'the change' if changes == 1 else f'{changes} changes'}{with_tax(standing)}"
        )
    sums = [(label, standing.price, "sum")]
    if standing.waived:
        sums.append(("No longer due", EXACT.minus(standing.waived), "sum"))
    if standing.received:
        sums.append(("Received so far", EXACT.minus(standing.received), "sum"))
    if standing.refunded:
        sums.append(("Given back", standing.refunded, "sum"))
    sums.append(("Still due" if standing.due else "Nothing is due any more", standing.due, "total"))
    if standing.owed:
        sums.append(("Paid more than that, and yours", standing.owed, "after"))
    if standing.deposit_open and standing.deposit_open < standing.due:
        sums.append(("Of that, still open of the deposit", standing.deposit_open, "after"))
    return [{"label": label, "amount": written(value), "kind": kind} for label, value, kind in sums]
