"""The price book: what the shop's work takes, what its materials cost, and the schedules a quote starts from.

Nothing here is ever shown to a client. A quote takes a snapshot (`queries.snapshot`), so that a later change
here does not change what was worked out before; and a row is taken out of use, never deleted.
"""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils import timezone

from shopdesk.base.fields import AmountField

MOST_COATS = 30
"""More than `craft.coatings` reckons with is a slip of the pen."""
MOST_CAN_ML = Decimal(60_000)


class Shape(models.TextChoices):
    """Kinds of piece, as `craft.surfaces` counts them; a gun wastes more on a chair than on a case."""

    CASE = "case", "case"
    TABLE = "table", "table"
    CHAIR = "chair", "chair"
    BED = "bed", "bed"
    BENCH = "bench", "bench"
    FRAME = "mirror frame", "mirror frame"
    OTHER = "other", "other"

    @property
    def column(self) -> str:
        """Of `Equipment`."""
        return f"on_{self.name.lower()}"


class Faces(models.TextChoices):
    """Groups of faces of a piece, as `craft.surfaces` counts them."""

    BODY = "body", "body"
    TOP = "top", "top"
    FRONTS = "fronts", "fronts"
    LEGS_AND_RAILS = "legs_and_rails", "legs and rails"
    INSIDE = "inside", "inside"


class Usable(models.Model):
    """A row that can be taken out of use, and brought back."""

    retired_at = models.DateTimeField(null=True)

    class Meta:
        abstract = True

    @property
    def in_use(self) -> bool:
        return self.retired_at is None


class ShopRates(models.Model):
    """What the shop wants to earn and what it adds (the one row; its id is always 1). Shares in percent."""

    currency = models.CharField(max_length=3)
    """Of every price in the book. Where the shop counts in another by now, the pages say so."""
    wanted_hourly = AmountField(default=Decimal(0))
    floor_hourly = AmountField(default=Decimal(0))
    """Below this the shop does not go."""
    minimum_charge = AmountField(default=Decimal(0))
    """The least that a commission costs."""
    rush_percent = models.DecimalField(max_digits=6, decimal_places=2, default=Decimal(25))
    later_piece_factor = models.DecimalField(max_digits=4, decimal_places=3, default=Decimal(1))
    """The share of the first one's time that each later piece of a set takes, 0.1 to 1."""
    sundries_percent = models.DecimalField(max_digits=6, decimal_places=2, default=Decimal(0))
    """Of the materials' cost: abrasives, tape, rags, gloves."""
    material_markup_percent = models.DecimalField(max_digits=6, decimal_places=2, default=Decimal(0))
    minutes_around_a_job = models.PositiveIntegerField(default=0)
    """Quoting, driving, cleaning up: the hours of a job that are not at the bench."""

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="one_set_of_rates"),
            models.CheckConstraint(
                condition=Q(wanted_hourly__gte=0, floor_hourly__gte=0, minimum_charge__gte=0),
                name="rates_not_below_zero",
            ),
            models.CheckConstraint(
                condition=Q(later_piece_factor__gt=0, later_piece_factor__lte=1),
                name="later_pieces_take_a_share",
            ),
            models.CheckConstraint(
                condition=Q(rush_percent__gte=0, sundries_percent__gte=0, material_markup_percent__gte=0),
                name="shares_not_below_zero",
            ),
        ]


class Material(Usable):
    """Something that is used up, with its data sheet's facts. `None` is not known or does not apply."""

    class Kind(models.TextChoices):
        CLEANER = "cleaner", "cleaner"
        STRIPPER = "stripper", "stripper"
        FILLER = "filler", "filler"
        STAIN = "stain", "stain"
        SEALER = "sealer", "sealer"
        PRIMER = "primer", "primer"
        COLOUR = "colour coat", "colour coat"
        CLEAR = "clear coat", "clear coat"
        OIL = "oil", "oil"
        WAX = "wax", "wax"
        ABRASIVE = "abrasive", "abrasive"
        OTHER = "other", "other"

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=Kind, default=Kind.OTHER)
    purpose = models.CharField(max_length=300, blank=True)
    volume_solids_percent = models.DecimalField(max_digits=5, decimal_places=2, null=True)
    dry_film_um = models.DecimalField(max_digits=7, decimal_places=2, null=True)
    """Of one coat, in micrometres."""
    spread_m2_per_l = models.DecimalField(max_digits=6, decimal_places=2, null=True)
    """The data sheet's own spreading rate, for what has no film to speak of (a cleaner, a stain). Volume
    solids and dry film come first where both are there."""
    coats = models.PositiveSmallIntegerField(default=1)
    recoat_minutes = models.PositiveIntegerField(null=True)
    """Until the next coat, at 25 °C and 50 % relative humidity."""
    density_kg_per_l = models.DecimalField(max_digits=6, decimal_places=3, null=True)
    thinning_percent = models.DecimalField(max_digits=5, decimal_places=2, default=Decimal(0))
    """Thinner added, by volume of the material."""
    cautions = models.TextField(blank=True)
    """The data sheet's own."""

    class Meta:
        ordering = ["kind", "name", "id"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="one_material_a_name"),
            models.CheckConstraint(
                condition=Q(volume_solids_percent=None)
                | Q(volume_solids_percent__gt=0, volume_solids_percent__lte=100),
                name="solids_are_a_share",
            ),
            models.CheckConstraint(
                condition=Q(dry_film_um=None) | Q(dry_film_um__gt=0), name="film_of_something"
            ),
            models.CheckConstraint(
                condition=Q(spread_m2_per_l=None) | Q(spread_m2_per_l__gt=0), name="spreads_over_something"
            ),
            models.CheckConstraint(condition=Q(coats__gte=1, coats__lte=MOST_COATS), name="coats_are_few"),
            models.CheckConstraint(
                condition=Q(density_kg_per_l=None) | Q(density_kg_per_l__gt=0), name="weighs_something"
            ),
            models.CheckConstraint(
                condition=Q(thinning_percent__gte=0, thinning_percent__lte=100), name="thinned_by_a_share"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Can(models.Model):
    """A size in which a material is bought. Ten decimals of a millilitre hold every US measure exactly
    (1 fl oz = 29.5735295625 mL)."""

    material = models.ForeignKey(Material, on_delete=models.CASCADE, related_name="cans")
    label = models.CharField(max_length=40)
    """As it is written on a shopping list: "1 qt", "2.5 L"."""
    volume_ml = models.DecimalField(max_digits=15, decimal_places=10)
    price = AmountField()

    class Meta:
        ordering = ["volume_ml", "id"]
        constraints = [
            models.UniqueConstraint(fields=["material", "volume_ml"], name="one_can_a_size"),
            models.CheckConstraint(
                condition=Q(volume_ml__gt=0, volume_ml__lte=MOST_CAN_ML), name="can_of_something"
            ),
            models.CheckConstraint(condition=Q(price__gte=0), name="can_not_below_zero"),
        ]


class Equipment(Usable):
    """How a coat is put on. `on_…` (a `Shape`): of what leaves the tool, the percent that stays on such a
    piece."""

    class Way(models.TextChoices):
        BRUSH = "brush", "brush"
        ROLLER = "roller", "roller"
        HVLP = "hvlp", "HVLP spray"

    name = models.CharField(max_length=120)
    way = models.CharField(max_length=6, choices=Way, default=Way.BRUSH)
    on_case = models.PositiveSmallIntegerField(default=95)
    on_table = models.PositiveSmallIntegerField(default=95)
    on_chair = models.PositiveSmallIntegerField(default=95)
    on_bed = models.PositiveSmallIntegerField(default=95)
    on_bench = models.PositiveSmallIntegerField(default=95)
    on_frame = models.PositiveSmallIntegerField(default=95)
    on_other = models.PositiveSmallIntegerField(default=95)
    cup_ml = models.PositiveIntegerField(default=0)
    """What it holds at one filling; 0 for what is not filled."""
    loss_per_fill_ml = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["way", "name", "id"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="one_equipment_a_name"),
            models.CheckConstraint(
                condition=Q(
                    **{f"{shape.column}__gte": 1 for shape in Shape},
                    **{f"{shape.column}__lte": 100 for shape in Shape},
                ),
                name="transfer_is_a_share",
            ),
            models.CheckConstraint(
                condition=Q(cup_ml=0, loss_per_fill_ml=0) | Q(loss_per_fill_ml__lt=models.F("cup_ml")),
                name="less_is_lost_than_filled",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def transfer(self) -> dict[str, Decimal]:
        """Shape → transfer efficiency as a share of 1 ("case" → 0.50)."""
        return {shape.value: Decimal(getattr(self, shape.column)) / 100 for shape in Shape}


class StepRate(Usable):
    """A step of the work and the minutes it takes, added up over whichever of the five apply."""

    class Kind(models.TextChoices):
        """As a quote's own lines have them."""

        PREPARATION = "preparation", "preparation"
        REPAIR = "repair", "repair"
        FINISH = "finish", "finish"
        MATERIALS = "materials", "materials"
        OTHER = "other", "other"

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=11, choices=Kind, default=Kind.PREPARATION)
    minutes_per_m2 = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal(0))
    minutes_per_drawer = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal(0))
    minutes_per_door = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal(0))
    minutes_per_piece = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal(0))
    minutes_once = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal(0))
    """However many pieces of a set there are: setting up, cleaning the gun."""
    per_coat = models.BooleanField(default=False)
    """The whole is done once for each coat."""
    outlay_per_piece = AmountField(default=Decimal(0))
    """What has to be bought for it each time and is no can: a test kit, a key to be cut."""
    cautions = models.TextField(blank=True)

    MINUTES = (
        "minutes_per_m2",
        "minutes_per_drawer",
        "minutes_per_door",
        "minutes_per_piece",
        "minutes_once",
    )

    class Meta:
        ordering = ["kind", "name", "id"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="one_step_a_name"),
            models.CheckConstraint(
                condition=Q(
                    minutes_per_m2__gte=0,
                    minutes_per_drawer__gte=0,
                    minutes_per_door__gte=0,
                    minutes_per_piece__gte=0,
                    minutes_once__gte=0,
                    outlay_per_piece__gte=0,
                ),
                name="steps_not_below_zero",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Schedule(Usable):
    """A finishing schedule: the steps in their order, from which a quote starts."""

    name = models.CharField(max_length=120)
    for_what = models.CharField(max_length=300, blank=True)
    """When to choose it, for the owner."""
    words = models.TextField(blank=True)
    """What the client reads of the work."""
    edition = models.PositiveIntegerField(default=1)
    """Raised by every change: whoever saves an older edition is told."""

    class Meta:
        ordering = ["name", "id"]
        constraints = [models.UniqueConstraint(Lower("name"), name="one_schedule_a_name")]

    def __str__(self) -> str:
        return self.name


class ScheduleStep(models.Model):
    """One step of a schedule. The rows are remade with every change of it."""

    class OnlyIf(models.TextChoices):
        ALWAYS = "", "always"
        LEAD = "lead", "only if old paint may hold lead"

    schedule = models.ForeignKey(Schedule, on_delete=models.CASCADE, related_name="steps")
    position = models.PositiveSmallIntegerField()
    rate = models.ForeignKey(StepRate, on_delete=models.PROTECT, related_name="+")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, null=True, related_name="+")
    coats = models.PositiveSmallIntegerField(default=1)
    grit = models.CharField(max_length=20, blank=True)
    """As written on the disc (FEPA P-grades): "120", "220"."""
    faces: models.JSONField[list[str], list[str]] = models.JSONField(default=list)
    """Which `Faces` it is done on; none named: all of them."""
    note = models.CharField(max_length=300, blank=True)
    only_if = models.CharField(max_length=10, choices=OnlyIf, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["schedule", "position"], name="one_step_a_position"),
            models.CheckConstraint(
                condition=Q(coats__gte=1, coats__lte=MOST_COATS), name="step_of_few_coats"
            ),
        ]


class Sheet(models.Model):
    """A file of materials or steps that was read and found sound, waiting for the press that takes it in."""

    class Kind(models.TextChoices):
        MATERIALS = "materials", "materials"
        STEPS = "steps", "steps"

    key = models.UUIDField(primary_key=True, default=uuid.uuid4)
    kind = models.CharField(max_length=9, choices=Kind)
    text = models.TextField()
    made_at = models.DateTimeField(default=timezone.now)
