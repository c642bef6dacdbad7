"""Where an account stands. The one place where the ledger is added up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shopdesk.commissions.models import Commission
from shopdesk.craft.balance import due as balance_due
from shopdesk.craft.rounding import EXACT
from shopdesk.craft.taxes import tax_inside
from shopdesk.deposits.models import Account, AgreedChange, Entry, Invoice

ZERO = Decimal(0)


@dataclass(frozen=True)
class Figures:
    """A sum with the tax in it: `net + tax = gross`."""

    net: Decimal
    tax: Decimal
    gross: Decimal

    def less(self, other: Figures) -> Figures:
        return Figures(self.net - other.net, self.tax - other.tax, self.gross - other.gross)


@dataclass(frozen=True)
class Standing:
    """An account added up, exact, in `currency`. All figures are zero or more.

    `price` is what is agreed by now, tax included: the accepted total and the `changes` agreed since.
    `received` and `refunded` are without what was reversed; `waived` is what is no longer due; `due` is what
    the client still owes of the price, and `owed` what the shop owes them, when they have paid more than the
    price has become. `deposit_open` is what is missing of the deposit, and zero once the owner has let it
    off. `entries` are in the order they were written, each with its receipt, its VAT invoice, their
    documents, and whether it was `taken_back`.
    """

    account: Account
    currency: str
    price: Decimal
    deposit: Decimal
    deposit_due_on: date
    received: Decimal
    refunded: Decimal
    waived: Decimal
    due: Decimal
    owed: Decimal
    let_off: bool
    entries: list[Entry]
    changes: list[AgreedChange]

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

    @property
    def agreed(self) -> Figures:
        """The price with the tax in it."""
        tax = self.account.tax + sum((change.tax for change in self.changes), ZERO)
        return Figures(self.price - tax, tax, self.price)

    @property
    def taxed(self) -> Decimal:
        """How much of the price without tax the tax was taken on."""
        return sum((change.net for change in self.changes if change.taxable), self.account.taxable)

    def part(self, gross: Decimal) -> Figures:
        """A part of the price, tax included, with its share of the tax."""
        if self.price <= 0:
            return Figures(gross, ZERO, gross)
        tax = tax_inside(
            gross,
            of=self.price,
            taxed=min(self.price, self.taxed + self.agreed.tax),
            rate=self.account.tax_rate,
            currency=self.currency,
        )
        return Figures(gross - tax, tax, gross)

    @property
    def invoiced(self) -> Figures:
        """What an invoice comes to: what was agreed, less what is no longer due of it."""
        return self.agreed.less(self.part(self.waived)) if self.waived else self.agreed


def standing(commission: Commission) -> Standing | None:
    """Where the account of a commission stands; `None` before anything has been agreed. Three statements."""
    return standings([commission]).get(commission.pk)


def standings(commissions: Iterable[Commission], *, papers: bool = True) -> dict[int, Standing]:
    """The same for many, by the commission's id. Three statements, however many there are. Without `papers`
    the entries come bare, for whoever only wants the sums."""
    let_off = {commission.pk: commission.deposit_let_off for commission in commissions}
    accounts = Account.objects.filter(commission__in=let_off.keys()).order_by("pk")
    written: dict[int, list[Entry]] = {account.pk: [] for account in accounts}
    rows = Entry.objects.filter(account__in=written.keys()).order_by("pk")
    beside = (
        ("receipt__document", "invoice__document", "reverses", "reversal", "user")
        if papers
        else ("reverses",)
    )
    heavy = ["receipt__document__content", "invoice__document__content"] if papers else []
    for entry in rows.select_related(*beside).defer(*heavy):
        written[entry.account_id].append(entry)
    changed: dict[int, list[AgreedChange]] = {account.pk: [] for account in accounts}
    for change in AgreedChange.objects.filter(account__in=changed.keys()).order_by("number"):
        changed[change.account_id].append(change)
    return {
        account.commission_id: added_up(
            account, written[account.pk], changed[account.pk], let_off[account.commission_id]
        )
        for account in accounts
    }


def added_up(account: Account, entries: list[Entry], changes: list[AgreedChange], let_off: bool) -> Standing:
    """The standing of an account with these entries, reversals among them, and these changes."""
    sums = {Entry.Kind.RECEIVED: ZERO, Entry.Kind.REFUNDED: ZERO, Entry.Kind.WAIVED: ZERO}
    for entry in entries:
        # A reversal counts against the sum that its entry counted towards.
        sums[Entry.Kind((entry.reverses or entry).kind)] += entry.amount
    received, refunded = sums[Entry.Kind.RECEIVED], -sums[Entry.Kind.REFUNDED]
    waived = sums[Entry.Kind.WAIVED]
    more = sum((change.gross for change in changes), ZERO)
    balance = balance_due(account.price, EXACT.subtract(more, waived), received, refunded)
    price = EXACT.add(account.price, more)
    return Standing(
        account=account,
        currency=account.currency,
        price=price,
        deposit=min(account.deposit, price),
        deposit_due_on=account.deposit_due_on,
        received=received,
        refunded=refunded,
        waived=waived,
        due=max(ZERO, balance),
        owed=max(ZERO, -balance),
        let_off=let_off,
        entries=entries,
        changes=changes,
    )


def invoices_of(commission: Commission) -> list[Invoice]:
    """All invoices and credits of a commission in order, each with its document, and whether it was
    `taken_back`."""
    rows = Invoice.objects.filter(account__commission=commission).order_by("pk")
    return list(rows.select_related("document", "corrects", "credit", "entry").defer("document__content"))


def invoice_that_counts(invoices: Iterable[Invoice]) -> Invoice | None:
    """The balance invoice that is out and has not been taken back. There is one at most."""
    return next((one for one in invoices if one.kind == Invoice.Kind.BALANCE and not one.taken_back), None)
