"""How often somebody may do something. Counted in a row by a guarded update, so that no count is lost."""

from datetime import timedelta

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from shopdesk.base.models import Limit


def allow(name: str, *, most: int, span: timedelta) -> bool:
    """Count one use of `name` ("sign-in 203.0.113.7"); `False` once there were more than `most` within the
    span."""
    now = timezone.now()
    name = name[:120]
    rows = Limit.objects.filter(name=name)
    fresh = rows.filter(span_started_at__gt=now - span)
    if fresh.filter(count__lt=most).update(count=F("count") + 1):
        return True
    if fresh.filter(count__gte=most).exists():
        return False
    if rows.filter(span_started_at__lte=now - span).update(count=1, span_started_at=now):
        return True
    try:
        with transaction.atomic():
            Limit.objects.create(name=name, count=1, span_started_at=now)
    except IntegrityError:  # somebody else began the span in this moment
        return bool(fresh.filter(count__lt=most).update(count=F("count") + 1))
    return True
