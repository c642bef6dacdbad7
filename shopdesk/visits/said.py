"""What the visits have to say in words about a commission (`commissions.fields`)."""

from __future__ import annotations

from django.utils import timezone

from shopdesk.commissions.fields import Field, register
from shopdesk.commissions.models import Commission
from shopdesk.look.formats import moment
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from shopdesk.visits.models import Visit


def next_slot(commission: Commission, shop: Shop) -> dict[str, str]:
    booked = Visit.objects.filter(commission=commission, state=Visit.State.BOOKED)
    visit = booked.filter(ends_at__gt=timezone.now()).order_by("starts_at").first()
    if visit is None:
        return {}
    return {"slot": moment(visit.starts_at, shop.tz, shop.locale, today_at(shop))}


def register_fields() -> None:
    register(next_slot, Field("slot", "the next visit that is booked", "No visit is booked."))
