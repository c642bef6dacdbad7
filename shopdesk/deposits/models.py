"""What is due and what came in: an append-only ledger a commission."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

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
    tax_name = models.CharField(max_length=40, blank=True, default="")
    tax_rate = models.DecimalField(max_digits=7, decimal_places=4, default=Decimal(0))
    """Percent. This, its name and its basis are the accepted quote's, and hold for what is agreed later."""
    tax_basis = models.CharField(max_length=7, default="invoice")
    taxable = AmountField(default=Decimal(0))
    """How much of the accepted total without tax the tax was taken on."""
    tax = AmountField(default=Decimal(0))
    """The tax in the accepted total."""
    agreed: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)
    """What was agreed, as strings ready to print (`words.Agreed`): an invoice repeats it."""

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(deposit__lte=models.F("price")), name="deposit_within_price")
        ]


class AgreedChange(AppendOnly):
    """What was agreed after the acceptance: more work or less, at a price of its own. It is never taken back;
    another change is agreed instead."""

    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="changes")
    number = models.PositiveSmallIntegerField()
    words = models.CharField(max_length=300)
    net = AmountField()
    """Without tax; below zero when it costs less."""
    taxable = models.BooleanField()
    tax = AmountField()
    agreed_on = models.DateField()
    written_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["account", "number"], name="one_agreed_change_a_number")
        ]

    @property
    def gross(self) -> Decimal:
        return self.net + self.tax


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

    @property
    def invoice_or_none(self) -> Invoice | None:
        return getattr(self, "invoice", None)


class Receipt(models.Model):
    """The receipt for money received, with its running number."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="receipt")
    number = models.CharField(max_length=20, unique=True)
    document = models.OneToOneField(Document, on_delete=models.PROTECT, related_name="+")


class Invoice(AppendOnly):
    """An invoice as it went out, with its running number. It is never changed: one that turns out wrong is
    taken back by a credit, and a new one follows.

    Figures are in the account's currency; a credit's are below zero. `net + tax = gross`. A balance invoice
    states the whole of what was agreed: what deposit invoices stated before is taken off on its paper, not in
    these columns.
    """

    class Kind(models.TextChoices):
        DEPOSIT = "deposit", "VAT invoice for a payment"
        BALANCE = "balance", "invoice"
        CREDIT = "credit", "credit"

    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="invoices")
    kind = models.CharField(max_length=7, choices=Kind)
    number = models.CharField(max_length=20, unique=True)
    issued_on = models.DateField()
    net = AmountField()
    tax = AmountField()
    gross = AmountField()
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, null=True, related_name="invoice")
    """The payment that a deposit invoice is for."""
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="credit")
    reason = models.CharField(max_length=300, blank=True)
    document = models.OneToOneField(Document, on_delete=models.PROTECT, related_name="+")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")
    written_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(gross=models.F("net") + models.F("tax")), name="invoice_adds_up"
            ),
            models.CheckConstraint(
                condition=Q(kind="credit", corrects__isnull=False) | ~Q(kind="credit") & Q(corrects=None),
                name="credit_names_its_invoice",
            ),
            models.CheckConstraint(
                condition=Q(kind="deposit", entry__isnull=False) | ~Q(kind="deposit") & Q(entry=None),
                name="deposit_invoice_names_its_payment",
            ),
        ]

    @property
    def taken_back(self) -> bool:
        """Whether a credit answers this invoice."""
        return hasattr(self, "credit")
