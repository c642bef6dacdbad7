"""The commission: its pieces, its pictures, its journal."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from shopdesk.base.appendonly import AppendOnly
from shopdesk.clients.models import Client
from shopdesk.mail.models import Email
from shopdesk.photos.models import Picture


class Stage(models.TextChoices):
    REQUESTED = "requested", "Requested"
    QUOTED = "quoted", "Quoted"
    AGREED = "agreed", "Agreed"
    BOOKED = "booked", "Booked"
    CHECKED_IN = "checked in", "Checked in"
    IN_WORK = "in work", "In work"
    DRYING = "drying", "Drying"
    READY = "ready", "Ready"
    COLLECTED = "collected", "Collected"
    ON_HOLD = "on hold", "On hold"
    DECLINED = "declined", "Declined"
    WITHDRAWN = "withdrawn", "Withdrawn"
    CANCELLED = "cancelled", "Cancelled"


class Commission(models.Model):
    """One job for one client, from request to hand-over.

    The dated columns are what stages wait for (`stages.py`) and what the printed list of steps shows. They
    are set through `commissions.actions` and nowhere else.
    """

    class Source(models.TextChoices):
        PAGE = "page", "the request page"
        PHONE = "phone", "a phone call"
        DOOR = "door", "at the door"
        EMAIL = "email", "an email"

    number = models.CharField(max_length=12, unique=True)
    """Year and running number, "26-014"."""
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=5, choices=Source, default=Source.PAGE)
    stage = models.CharField(max_length=12, choices=Stage, default=Stage.REQUESTED)
    stage_since = models.DateTimeField(default=timezone.now)
    held_from = models.CharField(max_length=12, blank=True)
    """The stage to go back to from On hold."""

    wish = models.TextField()
    colour_wish = models.TextField(blank=True)
    sheen = models.CharField(max_length=40, blank=True)
    hardware_wish = models.TextField(blank=True)
    place = models.CharField(max_length=200, blank=True)
    """Where the piece will live."""
    hoped_for = models.DateField(null=True)
    budget = models.CharField(max_length=120, blank=True)
    travel = models.TextField(blank=True)
    """How it travels: stairs, lift, van, collection."""

    requested_at = models.DateTimeField(default=timezone.now)
    answered_at = models.DateTimeField(null=True)
    """When the shop first answered the request, by a question, a quote or a no."""
    quoted_at = models.DateTimeField(null=True)
    agreed_at = models.DateTimeField(null=True)
    deposit_in_at = models.DateTimeField(null=True)
    deposit_let_off = models.BooleanField(default=False)
    booked_at = models.DateTimeField(null=True)
    checked_in_on = models.DateField(null=True)
    work_began_at = models.DateTimeField(null=True)
    sample_promised = models.BooleanField(default=False)
    colour_agreed_at = models.DateTimeField(null=True)
    first_coat_at = models.DateTimeField(null=True)
    final_shot_at = models.DateTimeField(null=True)
    ready_at = models.DateTimeField(null=True)
    settled_at = models.DateTimeField(null=True)
    collected_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    """When it was declined, withdrawn or cancelled."""
    starts_on = models.DateField(null=True)
    ready_on = models.DateField(null=True)
    """The dates that the accepted quote gave."""

    class Meta:
        indexes = [
            models.Index(fields=["stage", "stage_since"], name="commission_stage"),
            models.Index(fields=["-requested_at", "-id"], name="commission_newest"),
            models.Index(fields=["client"], name="commission_client"),
        ]

    def __str__(self) -> str:
        return self.number


class Piece(models.Model):
    """One piece of furniture of a commission. Sizes in millimetres; the lead caution follows from age and
    finish (`craft.cautions`) when they are written."""

    class Finish(models.TextChoices):
        UNKNOWN = "unknown", "not sure"
        PAINTED = "painted", "painted"
        VARNISHED = "varnished", "varnished or lacquered"
        OILED = "oiled", "oiled"
        WAXED = "waxed", "waxed"
        BARE = "bare", "bare wood"

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="pieces")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120)
    """What it is, as the client calls it: "writing desk", "six chairs"."""
    count = models.PositiveSmallIntegerField(default=1)
    width_mm = models.DecimalField(max_digits=11, decimal_places=6, null=True)
    depth_mm = models.DecimalField(max_digits=11, decimal_places=6, null=True)
    height_mm = models.DecimalField(max_digits=11, decimal_places=6, null=True)
    material = models.CharField(max_length=120, blank=True)
    made = models.CharField(max_length=80, blank=True)
    """Age or year, as typed."""
    finish_now = models.CharField(max_length=10, choices=Finish, default=Finish.UNKNOWN)
    trouble = models.TextField(blank=True)
    hardware = models.TextField(blank=True)
    lead_caution = models.BooleanField(default=False)
    colour_open = models.BooleanField(default=False)
    """A sample was shown for it and none has been approved since."""
    colour_agreed_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["commission", "position"], name="one_piece_a_position")
        ]

    def __str__(self) -> str:
        return self.name


class Shot(models.Model):
    """A picture in its place in a commission."""

    class Kind(models.TextChoices):
        REQUEST = "request", "request"
        PROGRESS = "progress", "progress"
        FINAL = "final", "finished"
        SAMPLE = "sample", "sample"
        PAPER = "paper", "paper"
        MESSAGE = "message", "message"

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="shots")
    piece = models.ForeignKey(Piece, on_delete=models.SET_NULL, null=True, related_name="shots")
    picture = models.OneToOneField(Picture, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=8, choices=Kind)
    caption = models.CharField(max_length=200, blank=True)
    for_client = models.BooleanField(default=True)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]


class JournalLine(AppendOnly):
    """One line of the one history: who, what, when. Written in the action's own transaction and never
    changed. Names nobody: people stand in it by id."""

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="journal")
    at = models.DateTimeField(default=timezone.now)
    by = models.CharField(
        max_length=6, choices=[("owner", "the shop"), ("client", "the client"), ("shop", "Shopdesk")]
    )
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, null=True, related_name="+")
    verb = models.CharField(max_length=40)
    """What was done, one word or two for programs ("quote sent")."""
    words = models.TextField()
    reason = models.TextField(blank=True)
    """Why a house rule was stepped past."""
    for_client = models.BooleanField(default=False)

    class Meta:
        ordering = ["at", "id"]
        indexes = [models.Index(fields=["commission", "at"], name="journal_of_commission")]


class Letter(models.Model):
    """An email of the outbox, in its place in a commission."""

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="letters")
    email = models.OneToOneField(Email, on_delete=models.CASCADE, related_name="+")
    to_client = models.BooleanField()


class ReminderOff(models.Model):
    """A reminder that is switched off: for one commission, for one client, or (neither named) for the
    shop."""

    kind = models.CharField(max_length=40)
    client = models.ForeignKey(Client, on_delete=models.CASCADE, null=True, related_name="+")
    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind"], condition=models.Q(client=None, commission=None), name="reminder_off_once"
            ),
            models.UniqueConstraint(fields=["kind", "client"], name="reminder_off_once_a_client"),
            models.UniqueConstraint(fields=["kind", "commission"], name="reminder_off_once_a_commission"),
            models.CheckConstraint(
                condition=models.Q(client=None) | models.Q(commission=None), name="reminder_off_for_one"
            ),
        ]


class Reminded(models.Model):
    """A reminder that was written. The same one of the same occasion is never written again."""

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=40)
    occasion = models.CharField(max_length=80)
    """What it was about, so that a new occasion counts anew: a quote's id, a visit's moment, "7 days"."""
    email = models.ForeignKey(Email, on_delete=models.SET_NULL, null=True, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["commission", "kind", "occasion"], name="one_reminder_an_occasion"
            )
        ]
