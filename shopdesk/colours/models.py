"""Colour samples: what was shown, and what the client said to it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from shopdesk.commissions.models import Piece, Shot


class Sample(models.Model):
    """One round of a colour for a piece. Rounds are kept: the next one answers "please try again"."""

    class State(models.TextChoices):
        PROPOSED = "proposed", "waiting for an answer"
        APPROVED = "approved", "approved"
        AGAIN = "again", "another one wanted"

    piece = models.ForeignKey(Piece, on_delete=models.CASCADE, related_name="+")
    round = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120)
    maker_code = models.CharField(max_length=60, blank=True)
    sheen = models.CharField(max_length=40, blank=True)
    product = models.CharField(max_length=120, blank=True)
    screen_colour = models.CharField(max_length=7, blank=True)
    """#rrggbb, for the screen only."""
    shot = models.ForeignKey(Shot, on_delete=models.SET_NULL, null=True, related_name="+")
    note = models.TextField(blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.PROPOSED)
    proposed_at = models.DateTimeField(default=timezone.now)
    answered_at = models.DateTimeField(null=True)
    answered_by = models.CharField(max_length=120, blank=True)
    """The name that the client typed, or that the owner wrote down for a yes given in the shop."""
    answered_in_shop = models.BooleanField(default=False)
    answer = models.TextField(blank=True)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        ordering = ["piece_id", "round"]
        constraints = [
            models.UniqueConstraint(fields=["piece", "round"], name="one_sample_a_round"),
            models.UniqueConstraint(
                fields=["piece"], condition=Q(state="proposed"), name="one_open_sample_a_piece"
            ),
        ]
