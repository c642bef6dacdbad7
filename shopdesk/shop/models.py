"""The shop's own facts and its people."""

from __future__ import annotations

from datetime import time
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import F, Q

MIDNIGHT = time(0)
"""As a closing time: the end of the day."""
SLOT_MINUTES = (15, 30, 45, 60, 90, 120, 180, 240)
"""How long a drop-off or a pickup can be planned to last."""


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, name: str, password: str | None) -> User:
        user = self.model(email=self.normalize_email(email).lower(), name=name)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email__iexact=username)


class User(AbstractBaseUser):
    """The owner, or a helper at the bench. Signs in with an email address."""

    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]
    objects = UserManager()

    def __str__(self) -> str:
        return self.name


class Shop(models.Model):
    """The one shop of this installation (its id is always 1)."""

    class Units(models.TextChoices):
        INCHES = "in", "inches"
        CENTIMETRES = "cm", "centimetres"

    class TaxBasis(models.TextChoices):
        ITEM = "item", "on each item"
        INVOICE = "invoice", "on the whole"

    class Paper(models.TextChoices):
        A4 = "A4"
        LETTER = "Letter"

    name = models.CharField(max_length=120)
    tagline = models.CharField(max_length=160, blank=True)
    address = models.TextField()
    email = models.EmailField()
    phone = models.CharField(max_length=40, blank=True)
    tax_number = models.CharField(max_length=60, blank=True)
    zone = models.CharField(max_length=60, default="America/New_York")
    currency = models.CharField(max_length=3, default="USD")
    locale = models.CharField(max_length=20, default="en_US")
    units = models.CharField(max_length=2, choices=Units, default=Units.INCHES)
    paper = models.CharField(max_length=6, choices=Paper, default=Paper.LETTER)
    tax_name = models.CharField(max_length=40, default="Sales tax")
    tax_rate = models.DecimalField(max_digits=7, decimal_places=4, default=Decimal(0))
    """Percent."""
    tax_basis = models.CharField(max_length=7, choices=TaxBasis, default=TaxBasis.INVOICE)
    tax_labour = models.BooleanField(default=False)
    """Whether a new line for labour starts as taxable; lines for materials do."""
    charges_vat = models.BooleanField(default=False)
    """Whether each payment before the invoice has a VAT invoice of its own."""
    bank_name = models.CharField(max_length=120, blank=True)
    bank_holder = models.CharField(max_length=70, blank=True)
    """Whose account it is, where that is not the shop's own name."""
    iban = models.CharField(max_length=34, blank=True)
    """Without spaces (ISO 13616)."""
    bic = models.CharField(max_length=11, blank=True)
    bank_words = models.TextField(blank=True)
    """How to transfer money where there is no IBAN: routing and account number, a line each."""
    deposit_share = models.DecimalField(max_digits=5, decimal_places=2, default=Decimal(50))
    """Percent of the total."""
    terms = models.TextField(blank=True)
    included = models.TextField(blank=True)
    """One a line: what a new quote starts with."""
    not_included = models.TextField(blank=True)
    show_lines = models.BooleanField(default=False)
    good_for_days = models.PositiveSmallIntegerField(default=14)
    remind_days = models.PositiveSmallIntegerField(default=3)
    """How many days before a quote runs out its client is reminded; 0: never."""
    answer_in_days = models.PositiveSmallIntegerField(default=3)
    slot_minutes = models.PositiveSmallIntegerField(default=30)
    quiet_from = models.TimeField(default=time(20))
    quiet_until = models.TimeField(default=time(8))
    """Between these, on the shop's wall, no email goes that can wait; the same twice: at no time."""
    notice_hours = models.PositiveSmallIntegerField(default=24)
    book_days_ahead = models.PositiveSmallIntegerField(default=42)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="one_shop"),
            models.CheckConstraint(condition=Q(tax_rate__gte=0, tax_rate__lt=100), name="tax_is_a_share"),
            models.CheckConstraint(
                condition=Q(deposit_share__gte=0, deposit_share__lte=100), name="deposit_is_a_share"
            ),
            models.CheckConstraint(condition=Q(slot_minutes__in=SLOT_MINUTES), name="slot_of_quarter_hours"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def tz(self) -> ZoneInfo:
        return ZoneInfo(self.zone)

    @property
    def address_lines(self) -> list[str]:
        return [line.strip() for line in self.address.splitlines() if line.strip()]


class OpeningWindow(models.Model):
    """A span of a weekday (0 = Monday) in which pieces are brought and fetched, in the shop's own time."""

    weekday = models.PositiveSmallIntegerField()
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ["weekday", "opens"]
        constraints = [
            models.CheckConstraint(condition=Q(weekday__lte=6), name="window_on_a_weekday"),
            models.CheckConstraint(
                condition=Q(opens__lt=F("closes")) | Q(closes=MIDNIGHT), name="window_opens_before_it_closes"
            ),
        ]


class DifferentDay(models.Model):
    """A date on which other hours hold, or (without any) none: a holiday, a fair, an open Saturday."""

    day = models.DateField()
    opens = models.TimeField(null=True)
    closes = models.TimeField(null=True)
    note = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["day", "opens"]
        constraints = [
            models.CheckConstraint(
                condition=Q(opens=None, closes=None)
                | Q(opens__lt=F("closes"))
                | Q(opens__isnull=False, closes=MIDNIGHT),
                name="different_day_closed_or_a_span",
            )
        ]


class SetupCode(models.Model):
    """The one-time code that `serve` prints, kept as a hash, that guards the page on which a shop is set
    up."""

    code_hash = models.CharField(max_length=128)
    made_at = models.DateTimeField(auto_now_add=True)
