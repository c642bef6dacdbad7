"""Quotes: revisions, what they are made of, and what was accepted."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from shopdesk.base.fields import AmountField
from shopdesk.commissions.models import Commission, Piece, Shot
from shopdesk.documents.models import Document


class Quote(models.Model):
    """One revision of the quote for a commission. A draft can be edited; what was sent is never changed but
    for its state."""

    class State(models.TextChoices):
        DRAFT = "draft", "being written"
        SENT = "sent", "sent"
        ACCEPTED = "accepted", "accepted"
        DECLINED = "declined", "declined"
        SUPERSEDED = "superseded", "superseded"

    commission = models.ForeignKey(Commission, on_delete=models.CASCADE, related_name="+")
    revision = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    edition = models.PositiveIntegerField(default=1)
    """Raised by every save of the draft: whoever saves an older edition is told."""
    currency = models.CharField(max_length=3)
    tax_name = models.CharField(max_length=40)
    tax_rate = models.DecimalField(max_digits=7, decimal_places=4)
    tax_basis = models.CharField(max_length=7)
    deposit_share = models.DecimalField(max_digits=5, decimal_places=2)
    starts_on = models.DateField(null=True)
    ready_on = models.DateField(null=True)
    good_until = models.DateField(null=True)
    note = models.TextField(blank=True)
    """A few words to the client above the figures."""
    included = models.TextField(blank=True)
    not_included = models.TextField(blank=True)
    terms = models.TextField(blank=True)
    show_lines = models.BooleanField(default=False)
    minimum = AmountField(default=Decimal(0))
    """The least that the work comes to, before rush and discount."""
    rush = models.BooleanField(default=False)
    rush_share = models.DecimalField(max_digits=5, decimal_places=2, default=Decimal(0))
    """Percent on top, where `rush` is ticked."""
    discount = AmountField(default=Decimal(0))
    """Taken off at last, at most all of it."""
    discount_words = models.CharField(max_length=120, blank=True)
    sample_promised = models.BooleanField(default=True)

    made_at = models.DateTimeField(default=timezone.now)
    changed_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True)
    document = models.OneToOneField(Document, on_delete=models.PROTECT, null=True, related_name="+")
    frozen: models.JSONField[dict[str, Any] | None, dict[str, Any] | None] = models.JSONField(null=True)
    """What was sent, as the document's content has it: pages show this, not the rows."""
    followed_up_at = models.DateTimeField(null=True)
    """When, after it had run out, the owner asked whether they are still interested, or let it rest."""

    @property
    def is_draft(self) -> bool:
        return self.state == self.State.DRAFT

    def expired(self, today: date) -> bool:
        """Sent, and its last day is over. Worked out, never stored: a later day needs nobody to notice."""
        return self.state == self.State.SENT and self.good_until is not None and self.good_until < today

    class Meta:
        ordering = ["revision"]
        constraints = [
            models.UniqueConstraint(fields=["commission", "revision"], name="one_quote_a_revision"),
            models.UniqueConstraint(
                fields=["commission"], condition=Q(state="draft"), name="one_draft_quote_a_commission"
            ),
            models.UniqueConstraint(
                fields=["commission"],
                condition=Q(state__in=["sent", "accepted"]),
                name="one_open_quote_a_commission",
            ),
        ]


class QuotePiece(models.Model):
    """A piece as quoted: what is done, in words. Its price is the sum of its lines."""

    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="pieces")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=160)
    words = models.TextField()

    class Meta:
        ordering = ["position"]


class Estimate(models.Model):
    """What a piece takes, worked out from its sizes and a schedule of the price book. Only the owner ever
    sees it."""

    quoted = models.OneToOneField(QuotePiece, on_delete=models.CASCADE, related_name="estimate")
    shape = models.CharField(max_length=20)
    sizes: models.JSONField[dict[str, str], dict[str, str]] = models.JSONField(default=dict)
    """Lengths, counts and areas by their names (`estimates.FIELDS`), as they were typed."""
    count = models.PositiveSmallIntegerField(default=1)
    """How many like this: a set."""
    later = models.BooleanField(default=False)
    """Whether the first of its set is another piece, so that all of these are the quicker later ones."""
    schedule: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)
    """The price book's schedule as it was when it was chosen (`pricebook.queries.snapshot`), so that a later
    change of the book, or a row gone from it, changes nothing here."""


class Override(models.Model):
    """A figure of an estimate put in by hand instead of the one worked out; or, without a value, the way back
    to that. Rows are only added: the newest of a figure holds."""

    estimate = models.ForeignKey(Estimate, on_delete=models.CASCADE, related_name="overrides")
    figure = models.CharField(max_length=80)
    """Which one: `area-top`, `minutes-3` (`estimates.Reckoned`)."""
    value = models.DecimalField(max_digits=16, decimal_places=6, null=True)
    reckoned = models.DecimalField(max_digits=16, decimal_places=6, null=True)
    """What was worked out at that moment."""
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]


class Line(models.Model):
    """One of the owner's own lines: what makes up a piece's price."""

    class Kind(models.TextChoices):
        PREPARATION = "preparation", "preparation"
        REPAIR = "repair", "repair"
        FINISH = "finish", "finish"
        MATERIALS = "materials", "materials"
        OTHER = "other", "other"

    piece = models.ForeignKey(QuotePiece, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=11, choices=Kind)
    text = models.CharField(max_length=200)
    quantity = models.DecimalField(max_digits=9, decimal_places=3, default=Decimal(1))
    unit = models.CharField(max_length=20, blank=True)
    unit_price = AmountField()
    taxable = models.BooleanField(default=False)
    allowance = models.BooleanField(default=False)
    """A sum set aside, settled by what it comes to."""
    by_number: models.JSONField[list[list[str]], list[list[str]]] = models.JSONField(default=list)
    """The price of one from a quantity on: `[["4", "72.00"]]`, by rising quantity."""

    class Meta:
        ordering = ["position"]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="line_of_something"),
            models.CheckConstraint(condition=Q(unit_price__gte=0), name="line_not_below_zero"),
        ]


class Option(models.Model):
    """Something the client may tick. A price below zero is a cheaper way. Options with the same `choice` are
    ways of which exactly one is chosen."""

    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="options")
    position = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=200)
    price = AmountField()
    taxable = models.BooleanField(default=False)
    choice = models.CharField(max_length=80, blank=True)
    """What is chosen: "The top". Without it, the option is one to add."""
    preselected = models.BooleanField(default=False)
    """Chosen to begin with; only in a choice."""
    allowance = models.BooleanField(default=False)

    class Meta:
        ordering = ["position"]


class Acceptance(models.Model):
    """What was accepted, by whom and how. One a commission, whatever is pressed at once."""

    class Way(models.TextChoices):
        PAGE = "page", "on their page"
        PAPER = "paper", "on paper"
        WORD = "word", "by word of mouth"

    commission = models.OneToOneField(Commission, on_delete=models.PROTECT, related_name="+")
    quote = models.OneToOneField(Quote, on_delete=models.PROTECT, related_name="acceptance")
    options = models.ManyToManyField(Option, related_name="+")
    total = AmountField()
    document_sha256 = models.CharField(max_length=64, blank=True)
    """Of the PDF, filled by the sweep when it is made after the yes (`signed.py`); the frozen content's own
    hash is `content_sha256`."""
    content_sha256 = models.CharField(max_length=64)
    name = models.CharField(max_length=120)
    """As typed by the client, or as the owner wrote down who said yes."""
    way = models.CharField(max_length=5, choices=Way)
    address = models.CharField(max_length=45, blank=True)
    note = models.TextField(blank=True)
    paper = models.ForeignKey(Shot, on_delete=models.PROTECT, null=True, related_name="+")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    said_on = models.DateField()
    at = models.DateTimeField(default=timezone.now)
