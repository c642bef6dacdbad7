"""What is due and what came in: an append-only ledger a commission."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from shopdesk.base.appendonly import AppendOnly
from shopdesk.base.fields import AmountField
from shopdesk.commissions.models import Commission
from shopdesk.documents.models import Document


class Account(models.Model):
    """What was agreed for a commission: the price, and the deposit inside it. While money is recorded, the
    commission's row is locked."""

    commission = models.OneToOneField(Commission, on_delete=models.CASCADE, related_name="+")
    currency = models.CharField(max_length=3)
    price = AmountField()
    """The accepted total, tax included."""
    deposit = AmountField()
    deposit_due_on = models.DateField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(deposit__lte=models.F("price")), name="deposit_within_price")
        ]


class Entry(AppendOnly):
    """Money that moved, or was settled, as written down. Received and no longer due are above zero, given
    back is below, and a reversal is the opposite of the entry that it names. A mistake is answered by a
    reversal; what it all comes to is worked out in `queries.standing` and nowhere else."""

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
                condition=Q(kind="refunded", amount__lt=0)
                | Q(kind__in=["received", "waived"], amount__gt=0)
                | Q(kind="reversed"),
                name="entry_has_its_sign",
            ),
            models.CheckConstraint(
                condition=Q(kind="reversed", reverses__isnull=False) | ~Q(kind="reversed") & Q(reverses=None),
                name="reversal_names_its_entry",
            ),
        ]

    @property
    def taken_back(self) -> bool:
        """Whether a reversal answers this entry."""
        return hasattr(self, "reversal")

    @property
    def size(self) -> Decimal:
        """How much it is about, without a sign."""
        return abs(self.amount)

    @property
    def counts(self) -> Decimal:
        """What it adds to what is due, as the ledger shows it."""
        return -self.amount

    @property
    def receipt_or_none(self) -> Receipt | None:
        return getattr(self, "receipt", None)


class Receipt(models.Model):
    """The receipt for money received, with its running number."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="receipt")
    number = models.CharField(max_length=20, unique=True)
    document = models.OneToOneField(Document, on_delete=models.PROTECT, related_name="+")
