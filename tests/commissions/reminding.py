"""Each reminder: what makes it due, on which days it goes, and what makes it pointless."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.colours import actions as colours
from shopdesk.colours.actions import NewSample
from shopdesk.colours.models import Sample
from shopdesk.commissions.actions import set_facts
from shopdesk.commissions.models import Commission
from shopdesk.commissions.reminders import write_due
from shopdesk.conversation.actions import say_to_shop
from shopdesk.deposits import actions as deposits
from shopdesk.deposits.models import Account
from shopdesk.deposits.queries import standing
from shopdesk.mail.models import Email
from shopdesk.quotes.actions import accept, start
from shopdesk.shop.models import Shop
from shopdesk.visits.actions import book
from shopdesk.visits.queries import free
from tests.quotes.making import send

Clock = Callable[[datetime], datetime]
BEGIN = date(2026, 9, 2)
"""A Wednesday."""


def at(shop: Shop, days: int, hour: int = 9, minute: int = 0) -> datetime:
    """So many days after `BEGIN`, on the shop's wall."""
    return datetime.combine(BEGIN + timedelta(days=days), time(hour, minute), shop.tz).astimezone(UTC)


@pytest.fixture(autouse=True)
def begin(shop: Shop, clock: Clock) -> None:
    """It is two in the afternoon of the first day."""
    clock(at(shop, 0, 14))


def written(kind: str) -> int:
    return Email.objects.filter(kind=kind).count()


def days_of(kind: str, shop: Shop, clock: Clock, last: int) -> list[int]:
    """Sweep at nine and again in the evening of each day up to `last`: on which days it was written."""
    found: list[int] = []
    for day in range(last + 1):
        for hour in (9, 19):
            if at(shop, day, hour) > at(shop, 0, 14):
                before = written(kind)
                clock(at(shop, day, hour))
                write_due()
                found += [day] * (written(kind) - before)
    return found


# -- how each comes to be due ------------------------------------------------------------------------------


def a_quote(commission: Commission, owner: Who, client: Who) -> None:
    send(commission, owner)  # good for fourteen days


def a_deposit(commission: Commission, owner: Who, client: Who) -> None:
    accept(send(commission, owner).pk, [], "Ottoline Brask", client)
    Account.objects.update(deposit_due_on=BEGIN + timedelta(days=7))


def a_sample(commission: Commission, owner: Who, client: Who) -> None:
    a_deposit(commission, owner, client)
    pay(commission, owner, Decimal("342.90"))
    bench.check_in(commission, BEGIN, owner)
    bench.begin_work(commission, owner)
    colours.propose(commission.pieces.get(), NewSample("Slipway brown"), owner)


def ready(commission: Commission, owner: Who, client: Who) -> None:
    a_sample(commission, owner, client)
    set_facts(commission, final_shot_at=timezone.now())
    yes(commission, owner, client)
    bench.make_ready(commission, owner)


def home_unpaid(commission: Commission, owner: Who, client: Who) -> None:
    ready(commission, owner, client)
    bench.hand_over(commission, owner, past="A regular")


def home(commission: Commission, owner: Who, client: Who) -> None:
    ready(commission, owner, client)
    pay(commission, owner, Decimal("342.90"))
    bench.hand_over(commission, owner)


def a_visit(commission: Commission, owner: Who, client: Who) -> None:
    ready(commission, owner, client)
    slot = next(slot for slot in free(timezone.now()) if slot.start.date() == BEGIN + timedelta(days=8))
    book(commission, "pickup", slot.start, client)


def pay(commission: Commission, owner: Who, amount: Decimal | None = None) -> None:
    account = standing(commission)
    assert account is not None
    deposits.record_payment(commission, amount or account.due, BEGIN, "transfer", "", owner)


# -- how each can be done ----------------------------------------------------------------------------------


def yes(commission: Commission, owner: Who, client: Who) -> None:
    sample = Sample.objects.get(state="proposed")
    colours.approve(sample.pk, "Ottoline Brask", client)


def another(commission: Commission, owner: Who, client: Who) -> None:
    sample = Sample.objects.get(state="proposed")
    colours.ask_again(sample.pk, "Ottoline Brask", "Too red.", client)


def accepted(commission: Commission, owner: Who, client: Who) -> None:
    from shopdesk.quotes.models import Quote

    accept(Quote.objects.get().pk, [], "Ottoline Brask", client)


def revising(commission: Commission, owner: Who, client: Who) -> None:
    start(commission, owner)


def paid(commission: Commission, owner: Who, client: Who) -> None:
    pay(commission, owner)


def let_off(commission: Commission, owner: Who, client: Who) -> None:
    deposits.let_off(commission, "A regular", owner)


def on_hold(commission: Commission, owner: Who, client: Who) -> None:
    bench.hold(commission, "Waiting for hinges", owner)


def cancelled(commission: Commission, owner: Who, client: Who) -> None:
    bench.cancel(commission, "They moved away", owner)


def booked(commission: Commission, owner: Who, client: Who) -> None:
    slot = next(slot for slot in free(timezone.now()) if slot.start > timezone.now() + timedelta(days=4))
    book(commission, "pickup", slot.start, client)


def back_on_the_bench(commission: Commission, owner: Who, client: Who) -> None:
    bench.begin_work(commission, owner)


def fetched(commission: Commission, owner: Who, client: Who) -> None:
    bench.hand_over(commission, owner, past="A regular")


def wrote(commission: Commission, owner: Who, client: Who) -> None:
    say_to_shop(commission, "One drawer sticks.", client)


def visit_moved(commission: Commission, owner: Who, client: Who) -> None:
    slot = next(slot for slot in free(timezone.now()) if slot.start > timezone.now() + timedelta(days=4))
    book(commission, "pickup", slot.start, owner)


Done = Callable[[Commission, Who, Who], None]
KINDS: dict[str, tuple[Done, list[int]]] = {
    "quote-expiring": (a_quote, [11]),
    "deposit-due": (a_deposit, [5, 10]),
    "sample-waiting": (a_sample, [3, 7]),
    "visit-reminder": (a_visit, [7]),
    "pickup-waiting": (ready, [3, 7, 14]),
    "balance-due": (home_unpaid, [3, 14]),
    "settling-in": (home, [30]),
}
DONE: list[tuple[str, Done]] = [
    ("quote-expiring", accepted),
    ("quote-expiring", revising),
    ("deposit-due", paid),
    ("deposit-due", let_off),
    ("deposit-due", on_hold),
    ("deposit-due", cancelled),
    ("sample-waiting", yes),
    ("sample-waiting", another),
    ("sample-waiting", on_hold),
    ("sample-waiting", cancelled),
    ("visit-reminder", back_on_the_bench),
    ("visit-reminder", fetched),
    ("visit-reminder", visit_moved),
    ("pickup-waiting", booked),
    ("pickup-waiting", back_on_the_bench),
    ("pickup-waiting", fetched),
    ("pickup-waiting", on_hold),
    ("pickup-waiting", cancelled),
    ("balance-due", paid),
    ("settling-in", wrote),
]


def due_moment(kind: str, shop: Shop) -> datetime:
    return at(shop, KINDS[kind][1][0])
