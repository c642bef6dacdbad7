"""Reminding of money: the deposit before its day and once after it, and what is still open of the price when
the piece is home."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import CharField, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Cast
from django.urls import reverse

from shopdesk.commissions.letterhead import bank_lines
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.reminders import Kind, Occasion, Said, Step
from shopdesk.deposits.models import Account, Invoice
from shopdesk.deposits.queries import standing
from shopdesk.look import formats
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at


def _deposits(shop: Shop, now: datetime) -> QuerySet[Account]:
    """Deposits that a place waits for. Who accepted only after the day of the reminder has just been told."""
    waiting = Account.objects.filter(commission__deposit_in_at=None, deposit__gt=0)
    return waiting.annotate(
        since=F("deposit_due_on"), key=Cast("pk", CharField()), told=F("commission__agreed_at")
    )


def _deposit_steps(shop: Shop) -> Sequence[Step]:
    """A transfer takes a few days: nobody is told that it is late before it can be there (common practice,
    no source)."""
    return Step(-2, 1, "before"), Step(3, 15, "over due")


def _deposit(commission: Commission, occasion: Occasion, shop: Shop) -> Said:
    account = standing(commission)
    assert account is not None, "the deposit is of an account"
    sum_ = formats.money(account.deposit_open, account.currency, shop.locale)
    due_on = formats.day(account.deposit_due_on, shop.locale, today_at(shop))
    over_due = account.deposit_due_on < today_at(shop)
    return Said(
        {
            "deposit": sum_,
            "due_on": due_on,
            "over_due": "yes" if over_due else "",
            "bank": bank_lines(shop),
        },
        f"the deposit of {sum_} {'was' if over_due else 'is'} due {due_on}",
        reverse("portal:commission", args=[commission.number]),
    )


DEPOSIT_DUE = Kind(
    "deposit-due",
    stages=(Stage.AGREED,),
    rows=_deposits,
    steps=_deposit_steps,
    said=_deposit,
    by_date=True,
    told=True,
)


def _balances(shop: Shop, now: datetime) -> QuerySet[Account]:
    """Accounts with something open whose piece has gone home. An invoice says what is due as well."""
    invoices = Invoice.objects.filter(account=OuterRef("pk"), kind=Invoice.Kind.BALANCE, credit=None)
    return Account.objects.filter(commission__settled_at=None).annotate(
        since=F("commission__stage_since"),
        key=Cast("pk", CharField()),
        told=Subquery(invoices.order_by("-written_at").values("written_at")[:1]),
    )


def _balance_steps(shop: Shop) -> Sequence[Step]:
    return Step(3, 14, "3 days"), Step(14, 28, "14 days")


def _balance(commission: Commission, occasion: Occasion, shop: Shop) -> Said:
    account = standing(commission)
    assert account is not None, "the balance is of an account"
    due = formats.money(account.due, account.currency, shop.locale)
    return Said(
        {"due": due, "bank": bank_lines(shop)},
        f"{due} is still due",
        reverse("portal:commission", args=[commission.number]),
    )


BALANCE_DUE = Kind(
    "balance-due",
    stages=(Stage.COLLECTED,),
    rows=_balances,
    steps=_balance_steps,
    said=_balance,
    told=True,
)
