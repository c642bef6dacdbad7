"""Progress: a picture and two lines."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from shopdesk.commissions.models import Commission, Shot


class Update(models.Model):
    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    text = models.TextField(blank=True)
    shots = models.ManyToManyField(Shot, related_name="+")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["at", "id"]
