"""Rows of the price book as somebody wrote them, and what is wrong with them, each with its place.

The pages and the CSV files come through here alike: one rule, one sentence.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from shopdesk.craft.money import LARGEST
from shopdesk.craft.units import parse_volume_l
from shopdesk.pricebook.models import (
    MOST_CAN_ML,
    MOST_COATS,
    Equipment,
    Faces,
    Material,
    ScheduleStep,
    Shape,
    StepRate,
)

MOST_CANS = 12
MOST_STEPS = 60
MOST_MINUTES = Decimal(10_000)
MOST_HOURLY = Decimal(1_000_000)
ZERO = Decimal(0)


@dataclass(frozen=True)
class Fault:
    """What is wrong, in a sentence, and where: a field, of a can or of a step where one is named."""

    sentence: str
    field: str | None = None
    row: int | None = None


@dataclass(frozen=True)
class RatesFacts:
    """Money in the shop's currency; shares in percent, but for the factor (0.1 to 1)."""

    wanted_hourly: Decimal
    floor_hourly: Decimal
    minimum_charge: Decimal = ZERO
    rush_percent: Decimal = Decimal(25)
    later_piece_factor: Decimal = Decimal(1)
    sundries_percent: Decimal = ZERO
    material_markup_percent: Decimal = ZERO
    minutes_around_a_job: int = 0


@dataclass(frozen=True)
class CanFacts:
    label: str
    volume_ml: Decimal
    price: Decimal


def can_of(size: str, price: Decimal) -> CanFacts:
    """A can by the size that is printed on it ("1 qt", "2,5 L"; litres where no unit stands). Raises
    `ValueError` with a sentence."""
    label = " ".join(size.split())
    return CanFacts(label, parse_volume_l(label, "L").scaleb(3).quantize(_FINEST_ML), price)


_FINEST_ML = Decimal("1E-10")


@dataclass(frozen=True)
class MaterialFacts:
    name: str
    kind: str = Material.Kind.OTHER
    purpose: str = ""
    volume_solids_percent: Decimal | None = None
    dry_film_um: Decimal | None = None
    spread_m2_per_l: Decimal | None = None
    coats: int = 1
    recoat_minutes: int | None = None
    density_kg_per_l: Decimal | None = None
    thinning_percent: Decimal = ZERO
    cautions: str = ""
    cans: Sequence[CanFacts] = ()


@dataclass(frozen=True)
class EquipmentFacts:
    """`transfer`: shape of piece → percent that stays on it."""

    name: str
    way: str = Equipment.Way.BRUSH
    transfer: dict[Shape, int] = field(default_factory=lambda: dict.fromkeys(Shape, 95))
    cup_ml: int = 0
    loss_per_fill_ml: int = 0


@dataclass(frozen=True)
class StepRateFacts:
    name: str
    kind: str = StepRate.Kind.PREPARATION
    minutes_per_m2: Decimal = ZERO
    minutes_per_drawer: Decimal = ZERO
    minutes_per_door: Decimal = ZERO
    minutes_per_piece: Decimal = ZERO
    minutes_once: Decimal = ZERO
    per_coat: bool = False
    outlay_per_piece: Decimal = ZERO
    cautions: str = ""


@dataclass(frozen=True)
class StepFacts:
    """A step of a schedule; rate, material and equipment by their ids."""

    rate: int | None
    material: int | None = None
    equipment: int | None = None
    coats: int = 1
    grit: str = ""
    faces: Sequence[str] = ()
    note: str = ""
    only_if: str = ""


@dataclass(frozen=True)
class ScheduleFacts:
    name: str
    for_what: str = ""
    words: str = ""
    steps: Sequence[StepFacts] = ()


# -- what is wrong -------------------------------------------------------------------------------------------


def _named(name: str) -> Iterator[Fault]:
    if not any(char.isalnum() for char in name):
        yield Fault("Give it a name.", "name")
    elif len(name) > 120:
        yield Fault("At most 120 letters.", "name")


def _long(text: str, most: int, name: str) -> Iterator[Fault]:
    if len(text) > most:
        yield Fault(f"At most {most:,} letters.", name)


def _money(value: Decimal, name: str, most: Decimal = LARGEST) -> Iterator[Fault]:
    if value < 0:
        yield Fault("A price is not below zero.", name)
    elif value > most:
        yield Fault("That is not believable; please check it.", name)


def _decimals(value: Decimal | None, places: int, name: str) -> Iterator[Fault]:
    if value is not None and -int(value.normalize().as_tuple().exponent) > places:
        yield Fault(
            f"At most {places} decimal{'s' if places != 1 else ''}." if places else "A whole number.", name
        )


def faults_of_rates(typed: RatesFacts) -> list[Fault]:
    found = [
        *_money(typed.wanted_hourly, "wanted_hourly", MOST_HOURLY),
        *_money(typed.floor_hourly, "floor_hourly", MOST_HOURLY),
        *_money(typed.minimum_charge, "minimum_charge"),
    ]
    if not found and typed.floor_hourly > typed.wanted_hourly:
        found.append(Fault("The least is not above what you want to earn.", "floor_hourly"))
    for name in ("rush_percent", "sundries_percent", "material_markup_percent"):
        share: Decimal = getattr(typed, name)
        if not 0 <= share <= 500:
            found.append(Fault("Between 0 and 500 percent.", name))
        found += _decimals(share, 2, name)
    if not Decimal("0.1") <= typed.later_piece_factor <= 1:
        found.append(
            Fault("Between 0.1 and 1: 0.8 when a second chair takes four fifths of the first one's time.",
                  "later_piece_factor")
        )  # fmt: skip
    found += _decimals(typed.later_piece_factor, 3, "later_piece_factor")
    if not 0 <= typed.minutes_around_a_job <= MOST_MINUTES:
        found.append(Fault("Between 0 and 10,000 minutes.", "minutes_around_a_job"))
    return found


def faults_of_material(typed: MaterialFacts) -> list[Fault]:
    found = [
        *_named(typed.name),
        *_long(typed.purpose, 300, "purpose"),
        *_long(typed.cautions, 3000, "cautions"),
    ]
    if typed.kind not in Material.Kind.values:
        kinds = ", ".join(Material.Kind.values)
        found.append(Fault(f"Say what kind it is: {kinds}.", "kind"))
    solids, film = typed.volume_solids_percent, typed.dry_film_um
    if solids is not None and not 0 < solids <= 100:
        found.append(
            Fault("Volume solids are above 0 and at most 100 percent; leave it empty if the sheet has none.",
                  "volume_solids_percent")
        )  # fmt: skip
    if film is not None and not 0 < film <= 2000:
        found.append(
            Fault("A coat's dry film is above 0 and at most 2,000 micrometres; most are 15 to 60.",
                  "dry_film_um")
        )  # fmt: skip
    if typed.spread_m2_per_l is not None and not 0 < typed.spread_m2_per_l <= 1000:
        found.append(Fault("A litre covers more than nothing, and at most 1,000 m².", "spread_m2_per_l"))
    if (solids is None) != (film is None) and typed.spread_m2_per_l is None:
        lacking = "volume_solids_percent" if solids is None else "dry_film_um"
        found.append(
            Fault("Solids and film go together; with only one of them, give the spreading rate.", lacking)
        )
    if not 1 <= typed.coats <= MOST_COATS:
        found.append(Fault(f"Between 1 and {MOST_COATS} coats.", "coats"))
    if typed.recoat_minutes is not None and not 0 <= typed.recoat_minutes <= 100_000:
        found.append(Fault("Between 0 and 100,000 minutes.", "recoat_minutes"))
    if typed.density_kg_per_l is not None and not Decimal("0.5") <= typed.density_kg_per_l <= 3:
        found.append(Fault("A litre weighs between 0.5 and 3 kg.", "density_kg_per_l"))
    if not 0 <= typed.thinning_percent <= 100:
        found.append(Fault("Between 0 and 100 percent.", "thinning_percent"))
    for name, places in (
        ("volume_solids_percent", 2), ("dry_film_um", 2), ("spread_m2_per_l", 2), ("density_kg_per_l", 3),
        ("thinning_percent", 2),
    ):  # fmt: skip
        found += _decimals(getattr(typed, name), places, name)
    return [*found, *_of_cans(typed.cans)]


def _of_cans(cans: Sequence[CanFacts]) -> Iterator[Fault]:
    if len(cans) > MOST_CANS:
        yield Fault(f"At most {MOST_CANS} can sizes for one material.")
    sizes: set[Decimal] = set()
    for row, can in enumerate(cans):
        if not can.label.strip():
            yield Fault("Say what is printed on the can, such as 1 qt or 2.5 L.", "size", row)
        if len(can.label) > 40:
            yield Fault("At most 40 letters.", "label", row)
        if not 0 < can.volume_ml <= MOST_CAN_ML:
            yield Fault("A can holds more than nothing, and at most 60 litres.", "size", row)
        elif can.volume_ml in sizes:
            yield Fault("This size is there twice; one price for each size.", "size", row)
        sizes.add(can.volume_ml)
        for fault in _money(can.price, "price"):
            yield Fault(fault.sentence, "price", row)


def faults_of_equipment(typed: EquipmentFacts) -> list[Fault]:
    found = list(_named(typed.name))
    if typed.way not in Equipment.Way.values:
        found.append(Fault("Brush, roller or spray.", "way"))
    for shape, percent in typed.transfer.items():
        if not 1 <= percent <= 100:
            found.append(
                Fault("From 1 to 100 percent: what leaves the tool and stays on the piece.", shape.column)
            )
    if not 0 <= typed.cup_ml <= 60_000:
        found.append(Fault("A cup holds at most 60 litres; 0 for a brush.", "cup_ml"))
    elif typed.loss_per_fill_ml < 0:
        found.append(Fault("Not below zero.", "loss_per_fill_ml"))
    elif typed.loss_per_fill_ml and typed.loss_per_fill_ml >= typed.cup_ml:
        found.append(Fault("Less is lost at a filling than the cup holds.", "loss_per_fill_ml"))
    if typed.way == Equipment.Way.HVLP and not typed.cup_ml:
        found.append(Fault("Say what the cup holds.", "cup_ml"))
    return found


def faults_of_step_rate(typed: StepRateFacts) -> list[Fault]:
    found = [*_named(typed.name), *_long(typed.cautions, 3000, "cautions")]
    if typed.kind not in StepRate.Kind.values:
        found.append(Fault(f"Say what kind it is: {', '.join(StepRate.Kind.values)}.", "kind"))
    for name in StepRate.MINUTES:
        minutes: Decimal = getattr(typed, name)
        if not 0 <= minutes <= MOST_MINUTES:
            found.append(Fault("Between 0 and 10,000 minutes.", name))
        found += _decimals(minutes, 2, name)
    found += _money(typed.outlay_per_piece, "outlay_per_piece")
    if not found and not typed.outlay_per_piece and not any(getattr(typed, one) for one in StepRate.MINUTES):
        found.append(Fault("It takes some minutes, or costs something.", "minutes_per_piece"))
    return found


def faults_of_schedule(typed: ScheduleFacts) -> list[Fault]:
    """Whether the ids are there is for the action to see."""
    found = [*_named(typed.name), *_long(typed.for_what, 300, "for_what"), *_long(typed.words, 6000, "words")]
    if len(typed.steps) > MOST_STEPS:
        found.append(Fault(f"At most {MOST_STEPS} steps."))
    for row, step in enumerate(typed.steps):
        if step.rate is None:
            found.append(Fault("Say which step.", "rate", row))
        if not 1 <= step.coats <= MOST_COATS:
            found.append(Fault(f"Between 1 and {MOST_COATS} coats.", "coats", row))
        if step.grit and not 24 <= grit_number(step.grit) <= 5000:
            found.append(Fault("A grit is a number from 24 to 5000, such as 120 or P220.", "grit", row))
        if unknown := set(step.faces) - set(Faces.values):
            found.append(Fault(f"No such faces: {', '.join(sorted(unknown))}.", "faces", row))
        if step.only_if not in ScheduleStep.OnlyIf.values:
            found.append(Fault("Always, or only if old paint may hold lead.", "only_if", row))
        found += [Fault(one.sentence, "note", row) for one in _long(step.note, 300, "note")]
    return found


# -- the order of grits --------------------------------------------------------------------------------------

# The grades a shop steps through, named as FEPA names them. Which ones: common practice, no source.
GRITS = (24, 36, 40, 60, 80, 100, 120, 150, 180, 220, 320, 400, 600, 800, 1000)
UNDER_STAIN = 150
_LAYS = frozenset(
    [Material.Kind.SEALER, Material.Kind.PRIMER, Material.Kind.COLOUR, Material.Kind.CLEAR, Material.Kind.OIL,
     Material.Kind.FILLER, Material.Kind.STRIPPER]
)  # fmt: skip
"""After these another surface is sanded than before."""


def grit_number(text: str) -> int:
    """ "P120" → 120; 0 for what is no grit."""
    match = re.fullmatch(r"[Pp]?\s*(\d{1,4})", text.strip(), re.ASCII)
    return int(match.group(1)) if match else 0


def grits_in_order(steps: Sequence[tuple[str, str]]) -> list[str]:
    """Warnings about the sanding in a list of steps, each as (grit or "", kind of its material or "").

    One surface is sanded finer with each step, skipping no more than one grade: each takes out the last one's
    scratches, and what a coarse disc leaves shows under stain. A coat (or filling, or stripping) between two
    steps makes another surface, which may begin anywhere. Common practice, no source.
    """
    said: list[str] = []
    last = 0
    for text, kind in steps:
        if grit := grit_number(text):
            skipped = [one for one in GRITS if last < one < grit] if last else []
            if grit < last:
                said.append(f"{grit} comes after {last}: a coarser disc puts scratches back in.")
            elif len(skipped) > 1:
                between = skipped[len(skipped) // 2]
                said.append(
                    f"From {last} to {grit} is too far: {grit} does not take out what {last} leaves. "
                    f"Put {between} between them."
                )
            last = grit
        if kind == Material.Kind.STAIN and 0 < last < UNDER_STAIN:
            said.append(f"What {last} leaves shows under stain; end with {UNDER_STAIN} or finer.")
        if kind in _LAYS:
            last = 0
    return said
