"""Changes to what was agreed: hidden damage that came to light, or a wish that came later."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from shopdesk.base.fields import AmountField
from shopdesk.commissions.models import Commission, Shot
from shopdesk.documents.models import Document


class Change(models.Model):
    """One change as it was proposed, and the answer to it. What was proposed is never edited: a change that
    is not right is withdrawn, and another one is proposed."""

    class State(models.TextChoices):
        PROPOSED = "proposed", "waiting for an answer"
        ACCEPTED = "accepted", "accepted"
        DECLINED = "declined", "declined"
        WITHDRAWN = "withdrawn", "withdrawn"

    class Way(models.TextChoices):
        PAGE = "page", "on their page"
        PAPER = "paper", "on paper"
        WORD = "word", "by word of mouth"

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    number = models.PositiveSmallIntegerField()
    """Within its commission: "26-014, change 1"."""
    state = models.CharField(max_length=9, choices=State, default=State.PROPOSED)
    reason = models.TextField()
    """What was found."""
    words = models.TextField()
    """What is done about it."""
    currency = models.CharField(max_length=3)
    price = AmountField()
    """Without tax; below zero when it costs less."""
    taxable = models.BooleanField()
    tax = AmountField()
    days = models.PositiveSmallIntegerField(default=0)
    """By how many days it is ready later."""
    shots = models.ManyToManyField(Shot, related_name="+")
    document = models.OneToOneField(Document, on_delete=models.PROTECT, related_name="+")
    frozen: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()
    """What was sent, as the document's content has it."""
    proposed_at = models.DateTimeField(default=timezone.now)

    answered_at = models.DateTimeField(null=True)
    said_on = models.DateField(null=True)
    name = models.CharField(max_length=120, blank=True)
    """Who said yes, as typed by the client or written down by the owner."""
    way = models.CharField(max_length=5, choices=Way, blank=True)
    address = models.CharField(max_length=45, blank=True)
    answer = models.TextField(blank=True)
    """Why not; or the owner's note to a yes that was not given on the page; or why it was withdrawn."""
    paper = models.ForeignKey(Shot, on_delete=models.PROTECT, null=True, related_name="+")
    content_sha256 = models.CharField(max_length=64, blank=True)
    """Of what was accepted."""
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    """Who wrote the answer down, where it was not the client."""
    noted_at = models.DateTimeField(null=True)
    """When the owner had read the client's answer."""

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["commission", "number"], name="one_change_a_number"),
            models.UniqueConstraint(
                fields=["commission"], condition=Q(state="proposed"), name="one_open_change_a_commission"
            ),
        ]

    @property
    def gross(self) -> Decimal:
        """What it costs, tax included."""
        return self.price + self.tax

    @property
    def is_open(self) -> bool:
        return self.state == self.State.PROPOSED
