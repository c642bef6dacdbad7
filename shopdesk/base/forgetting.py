"""What is only of use for a while, taken away once a day."""

from __future__ import annotations

from datetime import timedelta
from importlib import import_module

from django.conf import settings
from django.utils import timezone

from shopdesk.base.limits import allow
from shopdesk.base.models import Limit, Submission

FORGET = "shopdesk.base.forget"
SUBMISSIONS_KEPT = timedelta(days=30)
"""How long an old page may lie open and a press on it still be known for the second."""
LIMITS_KEPT = timedelta(days=2)
"""Longer than any limit's span."""


def forget_now_and_then() -> None:
    """Once a day, whoever's sweep comes first."""
    if allow(FORGET, most=1, span=timedelta(days=1)):
        forget()


def forget() -> None:
    """Take away the keys of old presses, counts whose span is over, and sessions that have run out."""
    now = timezone.now()
    Submission.objects.filter(made_at__lt=now - SUBMISSIONS_KEPT).delete()
    Limit.objects.filter(span_started_at__lt=now - LIMITS_KEPT).delete()
    import_module(settings.SESSION_ENGINE).SessionStore.clear_expired()
