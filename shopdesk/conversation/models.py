"""What was said between client and shop."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from shopdesk.commissions.models import Commission, Shot


class Message(models.Model):
    """One thing that one of the two said. `answered_at` is set on a client's message once the shop has
    answered it."""

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    by_client = models.BooleanField()
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    text = models.TextField()
    shots = models.ManyToManyField(Shot, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    answered_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["at", "id"]
        indexes = [
            models.Index(
                fields=["at"], name="message_unanswered", condition=models.Q(by_client=True, answered_at=None)
            ),
            models.Index(fields=["commission", "at"], name="message_of_commission"),
        ]
