"""A first idea of a price, before a quote. It binds nobody."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from shopdesk.base.fields import AmountField
from shopdesk.commissions.models import Commission


class Ballpark(models.Model):
    """A range that went out. It is never changed; the newest of a commission counts."""

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    currency = models.CharField(max_length=3)
    low = AmountField()
    high = AmountField()
    span = models.CharField(max_length=80)
    """As it was written to the client: "about $450–600"."""
    words = models.TextField(blank=True)
    """The owner's own words beside it."""
    how: models.JSONField[list[str], list[str]] = models.JSONField(default=list)
    """How it came about, a line each. Only the owner ever sees it."""
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(low__gt=0, low__lte=F("high")), name="ballpark_from_low_to_high"
            )
        ]

    @property
    def sentence(self) -> str:
        return f"{self.span[:1].upper()}{self.span[1:]}, subject to seeing it."

    @property
    def paragraphs(self) -> list[str]:
        return [line.strip() for line in self.words.splitlines() if line.strip()]
