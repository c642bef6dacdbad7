"""The last days of a quote: reminding the client that it is about to run out; and after it has, a draft to
ask whether they are still interested, which the owner sends or lets rest."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import THE_SHOP, Who
from shopdesk.commissions.letterhead import today_at
from shopdesk.commissions.letters import said_pieces, to_client
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.stages import locked, write_line
from shopdesk.conversation.actions import say_to_client
from shopdesk.look import formats
from shopdesk.quotes.models import Quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import shop_or_none, the_shop

REMIND_FROM = time(9)
"""From when on, on the shop's wall, reminders go out: nobody is woken by one."""

# -- before the last day -----------------------------------------------------------------------------------


def look_after() -> None:
    """Remind of what runs out. Runs with every sweep; nothing is done twice."""
    shop = shop_or_none()
    if shop is not None:
        remind(shop, timezone.now())


def remind(shop: Shop, now: datetime) -> int:
    """Remind of every quote that waits for an answer and is good for `remind_days` more days or fewer.
    Returns how many emails were written.

    A quote that had no more days than that when it was sent has said so itself, and while the shop is writing
    a new revision nobody is pressed for an answer to the old one. The commission is locked before the quote
    is looked at again, so an answer that came a moment earlier counts; a guarded update decides between two
    workers.
    """
    local = now.astimezone(shop.tz)
    if not shop.remind_days or local.time() < REMIND_FROM:
        return 0
    today = local.date()
    waiting = Quote.objects.filter(
        state=Quote.State.SENT,
        reminded_at=None,
        good_until__gte=today,
        good_until__lte=today + timedelta(days=shop.remind_days),
    )
    being_revised = Quote.objects.filter(commission=OuterRef("commission"), state=Quote.State.DRAFT)
    due = waiting.filter(~Exists(being_revised), commission__stage=Stage.QUOTED)
    count = 0
    for found in list(due.only("commission_id", "good_until", "sent_at").order_by("good_until", "pk")):
        if _said_so_itself(found, shop):
            continue
        with transaction.atomic():
            commission = locked(found.commission_id)
            quote = due.filter(pk=found.pk).first()
            if quote is None or not waiting.filter(pk=quote.pk).update(reminded_at=now):
                continue
            _write_reminder(commission, quote, shop)
            count += 1
    return count


def _said_so_itself(quote: Quote, shop: Shop) -> bool:
    assert quote.sent_at is not None, "it went out"
    assert quote.good_until is not None, "and was good for some days"
    return quote.good_until - quote.sent_at.astimezone(shop.tz).date() <= timedelta(days=shop.remind_days)


def _write_reminder(commission: Commission, quote: Quote, shop: Shop) -> None:
    until = _last_day(quote, shop)
    to_client(
        commission,
        "quote-expiring",
        {"good_until": until, "total": _total(quote), "revision": str(quote.revision)},
        path=reverse("portal:quote", args=[commission.number]),
    )
    line = f"Reminded that revision {quote.revision} of the quote is good until {until}"
    write_line(commission, THE_SHOP, "quote reminder", line, for_client=True)


def _total(quote: Quote) -> str:
    sums = (quote.frozen or {}).get("sums", [])
    return next((str(row["amount"]) for row in sums if row["kind"] == "total"), "")


def _last_day(quote: Quote, shop: Shop) -> str:
    assert quote.good_until is not None
    return formats.day(quote.good_until, shop.locale, today_at(shop))


# -- after it ----------------------------------------------------------------------------------------------


def waits_for_follow_up(quote: Quote, commission: Commission, today: date) -> bool:
    """Whether it has run out without an answer, and the owner has neither asked nor let it rest."""
    return (
        commission.stage == Stage.QUOTED
        and quote.commission_id == commission.pk
        and quote.expired(today)
        and quote.followed_up_at is None
    )


def follow_up_of(commission: Commission) -> Quote | None:
    """The quote of a commission that waits for it, if there is one."""
    quote = Quote.objects.filter(commission=commission, state=Quote.State.SENT).first()
    return quote if quote and waits_for_follow_up(quote, commission, today_at(the_shop())) else None


def draft_words(quote: Quote, commission: Commission, shop: Shop) -> str:
    """What the owner may send, ready to be changed. Nothing sends it but `ask_again`."""
    pieces = said_pieces([piece.name for piece in commission.pieces.all()])
    return (
        f"Our price for your {pieces} was good until {_last_day(quote, shop)}. "
        "Are you still interested?\n\n"
        "If you are, write to us, and we will look at the price and the dates again. "
        "If you have decided otherwise, a word is enough, and we will not ask again."
    )


@transaction.atomic
def ask_again(commission: Commission, words: str, who: Who) -> None:
    """The owner asks whether they are still interested, in these words. Refuses when it has been answered,
    revised or followed up meanwhile."""
    current, quote = _to_follow_up(commission)
    say_to_client(current, words, who)
    Quote.objects.filter(pk=quote.pk).update(followed_up_at=timezone.now())


@transaction.atomic
def let_rest(commission: Commission, who: Who) -> None:
    """The owner does not ask; the desk lists it no longer. Refuses as `ask_again` does."""
    current, quote = _to_follow_up(commission)
    Quote.objects.filter(pk=quote.pk).update(followed_up_at=timezone.now())
    write_line(
        current, who, "quote let rest", f"Revision {quote.revision} of the quote ran out, and was let rest"
    )


def _to_follow_up(commission: Commission) -> tuple[Commission, Quote]:
    current = locked(commission.pk)
    quote = follow_up_of(current)
    if quote is None:
        raise Refused("There is no quote here by now that ran out and waits to be followed up.")
    return current, quote
