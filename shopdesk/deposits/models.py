"""What is due and what came in: an append-only ledger a commission."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from shopdesk.base.appendonly import AppendOnly
from shopdesk.base.fields import AmountField
from shopdesk.commissions.models import Commission
from shopdesk.documents.models import Document


class Account(models.Model):
    """What was agreed for a commission: the price, and the deposit inside it. Its row is locked while money is recorded."""

    commission = models.OneToOneField(Commission, on_delete=models.CASCADE, related_name="+")
    currency = models.CharField(max_length=3)
    price = AmountField()
    """The accepted total, tax included."""
    deposit = AmountField()
    deposit_due_on = models.DateField()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(deposit__lte=models.F("price")), name="deposit_within_price")]


class Entry(AppendOnly):
    """Money that moved, or was settled, as written down. The amount is what it changes for the shop: money received is above zero,
    money given back and a reversal of a receipt are below. A mistake is answered by a reversal."""

    class Kind(models.TextChoices):
        RECEIVED = "received", "received"
        REFUNDED = "refunded", "given back"
        REVERSED = "reversed", "reversed"
        WAIVED = "waived", "no longer due"

    class How(models.TextChoices):
        CASH = "cash", "cash"
        TRANSFER = "transfer", "bank transfer"
        CARD = "card", "card terminal"
        CHEQUE = "cheque", "cheque"
        OTHER = "other", "other"

    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="entries")
    kind = models.CharField(max_length=8, choices=Kind)
    amount = AmountField()
    on = models.DateField()
    how = models.CharField(max_length=8, choices=How, blank=True)
    note = models.CharField(max_length=300, blank=True)
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="reversal")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    written_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount=0), name="entry_of_something"),
            models.CheckConstraint(
                condition=Q(kind="reversed", reverses__isnull=False) | ~Q(kind="reversed") & Q(reverses=None),
                name="reversal_names_its_entry",
            ),
        ]


class Receipt(models.Model):
    """The receipt for money received, with its running number."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="receipt")
    number = models.CharField(max_length=20, unique=True)
    document = models.OneToOneField(Document, on_delete=models.PROTECT, related_name="+")
