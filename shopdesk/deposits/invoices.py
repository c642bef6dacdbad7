"""Invoices: issued once with the next number, taken back by a credit, never edited. All of it in the
transaction that causes it, with the commission's row locked, so that a rollback gives the number back."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from shopdesk.base.numbers import next_number
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission
from shopdesk.commissions.stages import locked, write_line
from shopdesk.deposits import papers
from shopdesk.deposits.models import Account, Entry, Invoice
from shopdesk.deposits.queries import Figures, Standing, invoice_that_counts, invoices_of, standing
from shopdesk.documents.actions import order
from shopdesk.look import formats
from shopdesk.mail.actions import Enclose
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at


@transaction.atomic
def issue(commission: Commission, who: Who) -> Invoice:
    """The balance invoice, sent to the client. Refuses while one is out, and where there is nothing to
    invoice."""
    shop = the_shop()
    now = locked(commission.pk)
    account = _account(now, who)
    out = invoice_that_counts(invoices_of(now))
    if out is not None:
        raise Refused(f"Invoice {out.number} is out already. If it is wrong, correct it.")
    made = _issue_balance(now, account, shop, who)
    _tell(now, shop, [made])
    return made


@transaction.atomic
def when_ready(commission: Commission, who: Who) -> list[Enclose]:
    """The piece is ready: the invoice that says what is due, for the email that the caller writes. One that
    is out and still right is enclosed once more; one that is not is corrected."""
    shop = the_shop()
    now = locked(commission.pk)
    account = standing(now)
    if account is None or account.invoiced.gross <= 0:
        return []
    out = invoice_that_counts(invoices_of(now))
    if out is None:
        made = [_issue_balance(now, account, shop, who)]
    elif _figures(out) == account.invoiced:
        made = [out]
    else:
        made = renew(now, account, shop, who, "What was agreed has changed since")
    return enclosed(made)


@transaction.atomic
def correct(invoice: Invoice, reason: str, who: Who) -> list[Invoice]:
    """Take back the balance invoice that is out by a credit, and issue a new one for what holds by now, if
    anything does. Both go to the client. Returns them."""
    shop = the_shop()
    now = locked(Account.objects.values_list("commission_id", flat=True).get(pk=invoice.account_id))
    account = _account(now, who, nothing=True)
    reason = " ".join(reason.split())[:300]
    if not reason:
        raise Refused("Say in a few words what was wrong.", field="reason")
    out = invoice_that_counts(invoices_of(now))
    if out is None or out.pk != invoice.pk:
        raise Refused("That invoice has been taken back already.")
    made = renew(now, account, shop, who, reason)
    _tell(now, shop, made, reason=reason)
    return made


def renew(commission: Commission, account: Standing, shop: Shop, who: Who, reason: str) -> list[Invoice]:
    """A credit for the balance invoice that is out, if one is, and the new one. The caller tells the
    client."""
    out = invoice_that_counts(invoices_of(commission))
    if out is None:
        return []
    made = [take_back(commission, out, account, shop, who, reason)]
    if account.invoiced.gross > 0:
        made.append(_issue_balance(commission, account, shop, who))
    return made


def for_payment(
    commission: Commission, entry: Entry, before: Standing, shop: Shop, who: Who
) -> Invoice | None:
    """The VAT invoice for a payment that came ahead of the balance invoice, in a shop that charges VAT.
    `before` is where the account stood when it came. The last payment of the price takes the tax that is
    left, so that the payments' tax adds up to the tax of the price."""
    if not shop.charges_vat or not before.account.tax_rate:
        return None
    earlier = invoices_of(commission)
    if invoice_that_counts(earlier) is not None:
        return None
    part = before.part(entry.amount)
    if entry.amount == before.due:
        stated = papers.stated_before(earlier)
        left = before.invoiced.less(stated)
        if left.gross == entry.amount and left.tax >= 0:
            part = left
    return _write(
        commission,
        before,
        shop,
        who,
        Invoice.Kind.DEPOSIT,
        part,
        lambda number: papers.deposit_content(commission, shop, number, entry, before, part),
        entry=entry,
    )


def take_back(
    commission: Commission, invoice: Invoice, account: Standing, shop: Shop, who: Who, reason: str
) -> Invoice:
    """A credit over the whole of an invoice."""
    back = Figures(-invoice.net, -invoice.tax, -invoice.gross)
    made = _write(
        commission,
        account,
        shop,
        who,
        Invoice.Kind.CREDIT,
        back,
        lambda number: papers.credit_content(commission, shop, number, invoice, account, reason),
        corrects=invoice,
        reason=reason,
    )
    write_line(
        commission, who, "invoice taken back",
        f"Credit {made.number} takes back invoice {invoice.number}: {reason}", for_client=True,
    )  # fmt: skip
    return made


def enclosed(invoices: list[Invoice]) -> list[Enclose]:
    return [Enclose(one.document.filename, "application/pdf", ref=one.document.ref) for one in invoices]


def _issue_balance(commission: Commission, account: Standing, shop: Shop, who: Who) -> Invoice:
    figures = account.invoiced
    earlier = invoices_of(commission)
    made = _write(
        commission,
        account,
        shop,
        who,
        Invoice.Kind.BALANCE,
        figures,
        lambda number: papers.balance_content(commission, shop, number, account, earlier),
    )
    total = formats.money(figures.gross, account.currency, shop.locale)
    write_line(commission, who, "invoice issued", f"Invoice {made.number}: {total}", for_client=True)
    return made


def _write(
    commission: Commission,
    account: Standing,
    shop: Shop,
    who: Who,
    kind: Invoice.Kind,
    figures: Figures,
    content: papers.Written,
    **about: Any,
) -> Invoice:
    today = today_at(shop)
    number = f"I-{today:%Y}-{next_number(f'invoice {today:%Y}'):04d}"
    name = "credit" if kind == Invoice.Kind.CREDIT else "invoice"
    document = order(
        "invoice",
        title=f"{name.capitalize()} {number}",
        filename=f"{name}-{number}.pdf",
        content=content(number),
        dated_on=today,
    )
    return Invoice.objects.create(
        account=account.account,
        kind=kind,
        number=number,
        issued_on=today,
        net=figures.net,
        tax=figures.tax,
        gross=figures.gross,
        document=document,
        user_id=who.id if who.is_owner else None,
        **about,
    )


def _account(commission: Commission, who: Who, *, nothing: bool = False) -> Standing:
    if not who.is_owner:
        raise Refused("Invoices are the shop's to write.")
    account = standing(commission)
    if account is None:
        raise Refused("Nothing has been agreed yet: record the acceptance first.")
    if account.invoiced.gross <= 0 and not nothing:
        raise Refused("There is nothing to invoice: nothing of it is due any more, and nothing was paid.")
    return account


def _figures(invoice: Invoice) -> Figures:
    return Figures(invoice.net, invoice.tax, invoice.gross)


def _tell(commission: Commission, shop: Shop, made: list[Invoice], *, reason: str = "") -> None:
    """The email that carries them."""
    account = standing(commission)
    assert account is not None, "an invoice belongs to an account"
    new = next((one for one in made if one.kind == Invoice.Kind.BALANCE), None)
    credit = next((one for one in made if one.kind == Invoice.Kind.CREDIT), None)

    def said(value: Any) -> str:
        return formats.money(value, account.currency, shop.locale)

    to_client(
        commission,
        "invoice",
        {
            "invoice": new.number if new else "",
            "total": said(new.gross) if new else "",
            "due": said(account.due) if account.due else "",
            "owed": said(account.owed) if account.owed else "",
            "credit": credit.number if credit else "",
            "wrong": credit.corrects.number if credit and credit.corrects else "",
            "reason": reason,
            "bank": papers.bank_lines(shop) if account.due else [],
        },
        enclose=enclosed(made),
    )
