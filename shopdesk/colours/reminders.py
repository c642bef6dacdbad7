"""Reminding of a sample that waits for an answer."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import CharField, F, QuerySet
from django.db.models.functions import Cast
from django.urls import reverse

from shopdesk.colours.models import Sample
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.reminders import Kind, Occasion, Said, Step
from shopdesk.commissions.stages import ENDS
from shopdesk.look import formats
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at


def _waiting(shop: Shop, now: datetime) -> QuerySet[Sample]:
    return Sample.objects.filter(state=Sample.State.PROPOSED).annotate(
        since=F("proposed_at"), key=Cast("pk", CharField())
    )


def _steps(shop: Shop) -> Sequence[Step]:
    return Step(3, 7, "3 days"), Step(7, 14, "7 days")


def _said(commission: Commission, occasion: Occasion, shop: Shop) -> Said:
    sample = Sample.objects.select_related("piece").get(pk=occasion.row)
    shown = sample.proposed_at.astimezone(shop.tz).date()
    return Said(
        {
            "piece": sample.piece.name,
            "colour": sample.name,
            "round": str(sample.round),
            "shown_on": formats.day(shown, shop.locale, today_at(shop)),
        },
        f"sample {sample.round} for the {sample.piece.name}, {sample.name}, waits for an answer",
        reverse("portal:sample-answer", args=[commission.number, sample.pk]),
    )


SAMPLE_WAITING = Kind(
    "sample-waiting",
    stages=tuple(stage for stage in Stage if stage not in (*ENDS, Stage.ON_HOLD)),
    rows=_waiting,
    steps=_steps,
    said=_said,
    commission="piece__commission",
)
