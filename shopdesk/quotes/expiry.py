"""After a quote has run out: a draft to ask whether they are still interested, which the owner sends or lets
rest. What reminds of it before is `reminders.py`."""

from __future__ import annotations

from datetime import date

from django.db import transaction
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.letters import said_pieces
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.stages import locked, write_line
from shopdesk.conversation.actions import say_to_client
from shopdesk.look import formats
from shopdesk.quotes.models import Quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at


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


def _last_day(quote: Quote, shop: Shop) -> str:
    assert quote.good_until is not None
    return formats.day(quote.good_until, shop.locale, today_at(shop))
