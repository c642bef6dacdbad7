"""Drop-off, pickup and site visit: a booked span of the shop's time."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone

from shopdesk.commissions.models import Commission


class Visit(models.Model):
    """A booked drop-off, pickup or site visit (the shop comes to look). `uid` and `sequence` are its identity
    in calendars (RFC 5545).

    It is `done` once the piece has changed hands, or its day is over (`actions.put_away`): what is booked
    is what stands.
    """

    class Kind(models.TextChoices):
        DROP_OFF = "drop-off", "drop-off"
        PICKUP = "pickup", "pickup"
        SITE = "site-visit", "site visit"

    class State(models.TextChoices):
        BOOKED = "booked", "booked"
        CANCELLED = "cancelled", "cancelled"
        DONE = "done", "done"

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=10, choices=Kind)
    state = models.CharField(max_length=9, choices=State, default=State.BOOKED)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    sequence = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["commission", "kind"], condition=Q(state="booked"), name="one_booked_visit_a_kind"
            ),
            models.CheckConstraint(condition=Q(starts_at__lt=models.F("ends_at")), name="visit_has_a_length"),
        ]
        indexes = [models.Index(fields=["starts_at"], name="visit_coming", condition=Q(state="booked"))]


class Cell(models.Model):
    """A quarter of an hour that a visit has claimed. The unique start is what makes two people pressing at
    once one booking, also when the slot length changes later."""

    starts_at = models.DateTimeField(unique=True)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="cells")


class Offer(models.Model):
    """The shop has offered to come and look: the client's page then leads to the free times."""

    commission = models.OneToOneField(Commission, on_delete=models.CASCADE, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
