"""Asking, a month after a piece has gone home, how it is settling in."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from django.db.models import CharField, Exists, F, OuterRef, QuerySet
from django.db.models.functions import Cast, TruncDate
from django.urls import reverse

from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.reminders import Kind, Occasion, Said, Step
from shopdesk.conversation.models import Message
from shopdesk.look import formats
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at


def _at_home(shop: Shop, now: datetime) -> QuerySet[Commission]:
    """Pieces that are home and paid for. Nobody is asked how it is whose own words wait for an answer."""
    unanswered = Message.objects.filter(commission=OuterRef("pk"), by_client=True, answered_at=None)
    return Commission.objects.filter(~Exists(unanswered), settled_at__isnull=False).annotate(
        since=F("stage_since"), key=Cast(TruncDate("stage_since", tzinfo=UTC), CharField())
    )


def _steps(shop: Shop) -> Sequence[Step]:
    """By then a waterborne finish has cured (three to four weeks: common practice, no source)."""
    return (Step(30, 44, "30 days"),)


def _said(commission: Commission, occasion: Occasion, shop: Shop) -> Said:
    home = commission.collected_at or commission.stage_since
    since = formats.day(home.astimezone(shop.tz).date(), shop.locale, today_at(shop))
    page = reverse("portal:ask", args=[commission.number])
    return Said({"home_since": since}, "how is it settling in", page)


SETTLING_IN = Kind(
    "settling-in", stages=(Stage.COLLECTED,), rows=_at_home, steps=_steps, said=_said, commission=""
)
