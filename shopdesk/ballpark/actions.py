"""Naming a first idea of the price."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from django.db import transaction

from shopdesk.ballpark.models import Ballpark
from shopdesk.ballpark.words import said_span
from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.actions import answered
from shopdesk.commissions.letters import to_client
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.stages import locked, write_line
from shopdesk.look.formats import money
from shopdesk.pricebook.queries import rates
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop

LONGEST = 2000


def minimum_charge(shop: Shop) -> Decimal:
    """The least that a commission costs; nothing where the price book counts in another currency."""
    kept = rates()
    return kept.minimum_charge if kept.currency == shop.currency else Decimal(0)


@transaction.atomic
def send(
    commission: Commission, low: Decimal, high: Decimal, words: str, who: Who, *, how: Sequence[str] = ()
) -> Ballpark:
    """Write the range to the client, who is bound by it as little as the shop. It answers the request. `how`
    stays with the row, for the owner.

    Refuses a range that is none, one that begins below the minimum charge, and a commission that has a quote
    by now.
    """
    shop = the_shop()
    current = locked(commission.pk)
    if current.stage != Stage.REQUESTED:
        raise Refused(
            f"This commission is {current.get_stage_display().lower()} by now: "
            "a ballpark comes before the quote."
        )
    if not who.is_owner or who.id is None:
        raise Refused("The price is the shop's to name.")
    if low <= 0:
        raise Refused("Write what it costs at least.", field="low")
    if high < low:
        raise Refused("The upper end is below the lower one.", field="high")
    minimum = minimum_charge(shop)
    if low < minimum:
        least = money(minimum, shop.currency, shop.locale)
        raise Refused(f"That begins below your minimum charge of {least}.", field="low")
    words = words.strip()
    if len(words) > LONGEST:
        raise Refused(f"That is {len(words):,} characters; {LONGEST:,} fit.", field="words")
    sent = Ballpark.objects.create(
        commission=current,
        currency=shop.currency,
        low=low,
        high=high,
        span=said_span(low, high, shop.currency, shop.locale),
        words=words,
        how=list(how),
        user_id=who.id,
    )
    write_line(current, who, "ballpark sent", f"A first idea of the price: {sent.span}", for_client=True)
    answered(current)
    to_client(current, "ballpark", {"span": sent.span, "sentence": sent.sentence, "words": sent.paragraphs})
    commission.answered_at = current.answered_at
    return sent
