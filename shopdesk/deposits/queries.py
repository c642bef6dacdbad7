"""Where an account stands. The one place where the ledger is added up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shopdesk.commissions.models import Commission
from shopdesk.craft.balance import due as balance_due
from shopdesk.deposits.models import Account, Entry

ZERO = Decimal(0)


@dataclass(frozen=True)
class Standing:
    """An account added up, exact, in `currency`. All figures are zero or more.

    `received` and `refunded` are without what was reversed; `waived` is what is no longer due; `due` is what
    the client still owes of the price. `deposit_open` is what is missing of the deposit, and zero once the
    owner has let it off. `entries` are in the order they were written, each with its receipt, its document,
    and whether it was `taken_back`.
    """

    currency: str
    price: Decimal
    deposit: Decimal
    deposit_due_on: date
    received: Decimal
    refunded: Decimal
    waived: Decimal
    due: Decimal
    let_off: bool
    entries: list[Entry]

    @property
    def held(self) -> Decimal:
        """What the shop holds of the client's money."""
        return self.received - self.refunded

    @property
    def settled_part(self) -> Decimal:
        """How much of the price is no longer due, by payment or otherwise."""
        return self.price - self.due

    @property
    def deposit_in(self) -> bool:
        return self.settled_part >= self.deposit

    @property
    def deposit_open(self) -> Decimal:
        return ZERO if self.let_off else max(ZERO, self.deposit - self.settled_part)


def standing(commission: Commission) -> Standing | None:
    """Where the account of a commission stands; `None` before anything has been agreed. Two statements."""
    return standings([commission]).get(commission.pk)


def standings(commissions: Iterable[Commission], *, papers: bool = True) -> dict[int, Standing]:
    """The same for many, by the commission's id. Two statements, however many there are. Without `papers` the
    entries come bare, for whoever only wants the sums."""
    let_off = {commission.pk: commission.deposit_let_off for commission in commissions}
    accounts = Account.objects.filter(commission__in=let_off.keys()).order_by("pk")
    written: dict[int, list[Entry]] = {account.pk: [] for account in accounts}
    rows = Entry.objects.filter(account__in=written.keys()).order_by("pk")
    beside = ("receipt__document", "reverses", "reversal", "user") if papers else ("reverses",)
    for entry in rows.select_related(*beside).defer(*(["receipt__document__content"] if papers else [])):
        written[entry.account_id].append(entry)
    return {
        account.commission_id: added_up(account, written[account.pk], let_off[account.commission_id])
        for account in accounts
    }


def added_up(account: Account, entries: list[Entry], let_off: bool) -> Standing:
    """The standing of an account with these entries, reversals among them."""
    sums = {Entry.Kind.RECEIVED: ZERO, Entry.Kind.REFUNDED: ZERO, Entry.Kind.WAIVED: ZERO}
    for entry in entries:
        # A reversal counts against the sum that its entry counted towards.
        sums[Entry.Kind((entry.reverses or entry).kind)] += entry.amount
    received, refunded = sums[Entry.Kind.RECEIVED], -sums[Entry.Kind.REFUNDED]
    waived = sums[Entry.Kind.WAIVED]
    return Standing(
        currency=account.currency,
        price=account.price,
        deposit=account.deposit,
        deposit_due_on=account.deposit_due_on,
        received=received,
        refunded=refunded,
        waived=waived,
        due=balance_due(account.price, -waived, received, refunded),
        let_off=let_off,
        entries=entries,
    )
