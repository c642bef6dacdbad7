"""What was said between client and shop."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from shopdesk.commissions.models import Commission, Shot
from shopdesk.mail.models import Arrival, Email


class Message(models.Model):
    """One thing that one of the two said. `answered_at` is set on a client's message once the shop has
    answered it, `seen_at` once the owner has had it in front of them."""

    class CameBy(models.TextChoices):
        PAGE = "page"
        DESK = "desk"
        MAIL = "mail"

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    by_client = models.BooleanField()
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    text = models.TextField()
    shots = models.ManyToManyField(Shot, related_name="+")
    at = models.DateTimeField(default=timezone.now)
    answered_at = models.DateTimeField(null=True)
    seen_at = models.DateTimeField(null=True)
    came_by = models.CharField(max_length=4, choices=CameBy, default=CameBy.PAGE)
    arrival = models.OneToOneField(Arrival, on_delete=models.PROTECT, null=True, related_name="+")
    """The email that it was, where it was one: no email is two messages."""
    quoted = models.TextField(blank=True)
    """What an email quoted of earlier ones: cut off, and kept."""
    left_out: models.JSONField[list[str], list[str]] = models.JSONField(default=list)
    """What an email carried besides words and pictures, by name and size ("plan.pdf, 1.2 MB")."""

    email = models.ForeignKey(Email, on_delete=models.SET_NULL, null=True, related_name="+")
    """The email that brought it to the other side, or the words for the owner to pass on."""

    class Meta:
        ordering = ["at", "id"]
        indexes = [
            models.Index(
                fields=["at"], name="message_unanswered", condition=models.Q(by_client=True, answered_at=None)
            ),
            models.Index(fields=["commission", "at"], name="message_of_commission"),
        ]


class Note(models.Model):
    """Something that the owner wrote down for themselves: a note, or a call in one line. No client ever sees
    it."""

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    text = models.TextField()
    call = models.BooleanField(default=False)
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["at", "id"]
        indexes = [models.Index(fields=["commission", "at"], name="note_of_commission")]


class QuickAnswer(models.Model):
    """A short text of the shop's own, with fields such as `{piece}` that are filled in when it is used."""

    title = models.CharField(max_length=80, unique=True)
    text = models.TextField()
    edition = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["title"]

    def __str__(self) -> str:
        return self.title
