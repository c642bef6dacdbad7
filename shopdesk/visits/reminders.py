"""Reminding of a visit that is booked, and of a piece that is ready and that nobody has said when they
fetch."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime

from django.db.models import CharField, Exists, F, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat, TruncDate
from django.urls import reverse

from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.reminders import Kind, Occasion, Said, Step
from shopdesk.deposits.words import due_words
from shopdesk.look import formats
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from shopdesk.visits.models import Visit
from shopdesk.visits.words import WHAT, ask_us, said_time, where

STILL_LOOKED_AT = (Stage.REQUESTED, Stage.QUOTED, Stage.AGREED, Stage.BOOKED)
"""A site visit that is booked stands until the piece comes in."""
_STORAGE = re.compile(r"\b(?:storage|stored?|storing)\b", re.IGNORECASE)


# -- what is booked ----------------------------------------------------------------------------------------


def _coming(shop: Shop, now: datetime) -> QuerySet[Visit]:
    """Visits that are still to come. One that was moved is another one."""
    stands = Q(kind=Visit.Kind.DROP_OFF, commission__stage=Stage.BOOKED)
    stands |= Q(kind=Visit.Kind.PICKUP, commission__stage=Stage.READY)
    stands |= Q(kind=Visit.Kind.SITE, commission__stage__in=STILL_LOOKED_AT)
    coming = Visit.objects.filter(stands, state=Visit.State.BOOKED, starts_at__gt=now)
    key = Concat(Cast("pk", CharField()), Value("."), Cast("sequence", CharField()), output_field=CharField())
    return coming.annotate(since=F("starts_at"), key=key)


def _the_day_before(shop: Shop) -> Sequence[Step]:
    """And on the day itself, until it begins, when nobody was there to remind of it the day before."""
    return (Step(-1, 1, "before"),)


def occasion_of(visit: Visit) -> str:
    """The name under which the reminder of a visit, as it stands, is kept."""
    return f"{visit.pk}.{visit.sequence} before"


def _visit(commission: Commission, occasion: Occasion, shop: Shop) -> Said:
    visit = Visit.objects.get(pk=occasion.row)
    what, when = WHAT[Visit.Kind(visit.kind)], said_time(shop, visit.starts_at, visit.ends_at)
    context = {
        "what": what.lower(),
        "when": when,
        **where(shop, commission, visit.kind),
        "reach": ask_us(shop),
    }
    return Said(context, f"{what.lower()} on {when}")


VISIT_REMINDER = Kind(
    "visit-reminder",
    stages=(*STILL_LOOKED_AT, Stage.READY),
    rows=_coming,
    steps=_the_day_before,
    said=_visit,
)


# -- ready, and not booked ---------------------------------------------------------------------------------


def _not_fetched(shop: Shop, now: datetime) -> QuerySet[Commission]:
    """What is ready without a time to fetch it. Its days count from when it became ready, or was so again."""
    pickups = Visit.objects.filter(
        commission=OuterRef("pk"), kind=Visit.Kind.PICKUP, state=Visit.State.BOOKED
    )
    key = Cast(TruncDate("stage_since", tzinfo=UTC), CharField())
    return Commission.objects.filter(~Exists(pickups)).annotate(since=F("stage_since"), key=key)


def _ready_steps(shop: Shop) -> Sequence[Step]:
    return Step(3, 7, "3 days"), Step(7, 14, "7 days"), Step(14, 28, "14 days")


def storage_terms(shop: Shop) -> str:
    """What the shop's terms say about storage, in their own words; "" when they say nothing about it."""
    lines = [line.strip() for line in shop.terms.splitlines()]
    return " ".join(line for line in lines if _STORAGE.search(line))


def _ready(commission: Commission, occasion: Occasion, shop: Shop) -> Said:
    since = formats.day(commission.stage_since.astimezone(shop.tz).date(), shop.locale, today_at(shop))
    last = occasion.step == _ready_steps(shop)[-1]
    return Said(
        {
            "ready_since": since,
            "due": due_words(commission),
            "storage": storage_terms(shop) if last else "",
            "reach": ask_us(shop),
        },
        f"ready since {since}, and no time to fetch it is chosen yet",
        reverse("portal:visit", args=[commission.number, Visit.Kind.PICKUP.value]),
    )


PICKUP_WAITING = Kind(
    "pickup-waiting",
    stages=(Stage.READY,),
    rows=_not_fetched,
    steps=_ready_steps,
    said=_ready,
    commission="",
)
