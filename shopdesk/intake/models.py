"""A request while it is being written."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.utils import timezone

from shopdesk.commissions.models import Commission
from shopdesk.photos.models import Picture

MOST_PICTURES = 20


class Draft(models.Model):
    """What somebody has typed so far, found again by a signed cookie. Once sent, it points at its
    commission."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    typed: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)
    """Field name → words, as they were typed. Empty once the request has been sent."""
    started_at = models.DateTimeField(default=timezone.now)
    touched_at = models.DateTimeField(default=timezone.now, db_index=True)
    commission = models.OneToOneField(Commission, on_delete=models.CASCADE, null=True, related_name="+")


class DraftPicture(models.Model):
    """A picture of a draft, in its order. `place` is unique within the draft and below the limit, so that
    two uploads at once cannot go past it."""

    draft = models.ForeignKey(Draft, on_delete=models.CASCADE, related_name="pictures")
    picture = models.OneToOneField(Picture, on_delete=models.CASCADE, related_name="+")
    place = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["place"]
        constraints = [
            models.UniqueConstraint(fields=["draft", "place"], name="one_draft_picture_a_place"),
            models.CheckConstraint(
                condition=models.Q(place__lt=MOST_PICTURES), name="twenty_pictures_at_most"
            ),
        ]
