"""Reminding the client that a quote is about to run out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import CharField, Exists, F, OuterRef, QuerySet
from django.db.models.functions import Cast
from django.urls import reverse

from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.reminders import Kind, Occasion, Said, Step
from shopdesk.look import formats
from shopdesk.quotes.models import Quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at


def _waiting(shop: Shop, now: datetime) -> QuerySet[Quote]:
    """Quotes that wait for their answer. While the shop is writing a new revision, nobody is pressed for an
    answer to the old one."""
    being_revised = Quote.objects.filter(commission=OuterRef("commission"), state=Quote.State.DRAFT)
    return Quote.objects.filter(~Exists(being_revised), state=Quote.State.SENT).annotate(
        since=F("good_until"), key=Cast("pk", CharField()), told=F("sent_at")
    )


def _steps(shop: Shop) -> Sequence[Step]:
    """A quote that had no more days than that when it was sent has said so itself."""
    return (Step(-shop.remind_days, 1, "before"),) if shop.remind_days else ()


def _said(commission: Commission, occasion: Occasion, shop: Shop) -> Said:
    quote = Quote.objects.get(pk=occasion.row)
    assert quote.good_until is not None, "it counts from that day"
    until = formats.day(quote.good_until, shop.locale, today_at(shop))
    sums = (quote.frozen or {}).get("sums", [])
    total = next((str(row["amount"]) for row in sums if row["kind"] == "total"), "")
    return Said(
        {"good_until": until, "total": total, "revision": str(quote.revision)},
        f"revision {quote.revision} of the quote is good until {until}",
        reverse("portal:quote", args=[commission.number]),
    )


RUNS_OUT = Kind(
    "quote-expiring", stages=(Stage.QUOTED,), rows=_waiting, steps=_steps, said=_said, by_date=True, told=True
)
