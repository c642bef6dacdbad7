"""The outbox: every email as a row, written in the transaction that causes it."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import Q

from shopdesk.base.models import Work


class Email(Work):
    """One email to one person, or (`way` = tell) the same words for the owner to pass on to somebody without.

    `kind` names the template and `context` fills it; subject, text and html are empty until the words are
    made for the first try, and are then what went out. Links stand in them as placeholders
    (`shopdesk.mail.links`), so a stored email opens no door."""

    class Way(models.TextChoices):
        EMAIL = "email"
        TELL = "tell"

    way = models.CharField(max_length=5, choices=Way, default=Way.EMAIL)
    kind = models.CharField(max_length=40)
    context: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)
    message_id = models.CharField(max_length=200, unique=True)
    thread = models.CharField(max_length=80, blank=True)
    """Emails of one thread answer each other ("commission 12")."""
    in_reply_to = models.CharField(max_length=200, blank=True)
    references = models.TextField(blank=True)
    to_name = models.CharField(max_length=200, blank=True)
    to_address = models.CharField(max_length=254, blank=True)
    from_name = models.CharField(max_length=200, blank=True)
    from_address = models.CharField(max_length=254)
    subject = models.CharField(max_length=300, blank=True)
    text = models.TextField(blank=True)
    html = models.TextField(blank=True)
    worded_at = models.DateTimeField(null=True)
    """When the words were made: the Date of the email, at every try."""
    gather = models.CharField(max_length=80, blank=True)
    """While an email with this key waits, what comes next is added to its context's `items`: no other is
    made."""
    told_at = models.DateTimeField(null=True)

    class Meta(Work.Meta):
        indexes = [
            *Work.Meta.indexes,
            models.Index(fields=["thread", "id"], name="mail_email_thread"),
            models.Index(fields=["-made_at", "-id"], name="mail_email_newest"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["gather"],
                condition=~Q(gather="") & Q(state="waiting", tries=0, told_at=None),
                name="one_email_gathers",
            )
        ]


class Enclosure(models.Model):
    """Something an email carries: bytes by ref (`shopdesk.base.blobs`), or `text` written out (a calendar
    file). The email waits until all are `ready`."""

    email = models.ForeignKey(Email, on_delete=models.CASCADE, related_name="enclosures")
    ref = models.CharField(max_length=80, blank=True)
    text = models.TextField(blank=True)
    filename = models.CharField(max_length=120)
    mime = models.CharField(max_length=80)
    """A media type with parameters ("text/calendar; method=REQUEST")."""
    ready = models.BooleanField(default=False)

    class Meta:
        indexes = [models.Index(fields=["ref"], name="mail_enclosure_unready", condition=Q(ready=False))]
