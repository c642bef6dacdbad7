"""The owner writes down a no that was said on the phone or at the door."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.stages import advance, locked
from shopdesk.look import formats
from shopdesk.quotes.models import Quote
from shopdesk.shop.queries import the_shop, today_at

OPEN_TO_A_NO = (Stage.REQUESTED, Stage.QUOTED)


@transaction.atomic
def write_down(commission: Commission, said_on: date, words: str, who: Who) -> Commission:
    """The client said no, or took the request back, on the day `said_on`; `words` say who said it and why.
    The quote that was out is declined and the commission withdrawn. Nobody is written to: it was they who
    said it. Refuses once something has been agreed, and a day that cannot be."""
    shop = the_shop()
    now = locked(commission.pk)
    if now.stage not in OPEN_TO_A_NO:
        raise Refused(f"This commission is {now.get_stage_display().lower()} by now: a no ends it no more.")
    words = " ".join(words.split())
    if not any(char.isalpha() for char in words):
        raise Refused("Write down in a few words who said no, and why.", field="words")
    today = today_at(shop)
    out = Quote.objects.filter(commission=now, state=Quote.State.SENT).first()
    if said_on > today:
        raise Refused("That day is still to come.", field="said_on")
    if out is not None and out.sent_at and said_on < out.sent_at.astimezone(shop.tz).date():
        raise Refused("That is before the quote was sent.", field="said_on")
    if said_on < now.requested_at.astimezone(shop.tz).date():
        raise Refused("That is before they asked.", field="said_on")
    if out is not None:
        Quote.objects.filter(pk=out.pk, state=Quote.State.SENT).update(state=Quote.State.DECLINED)
    day = formats.day(said_on, shop.locale, today)
    advance(now, Stage.WITHDRAWN, who, note=f"said on {day}: {words[:1000]}", quiet=True)
    return now
