"""What the price book says. A quote works from a snapshot of it, never from its rows."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import TypedDict, TypeVar

from django.db.models import Prefetch, QuerySet

from shopdesk.pricebook.models import (
    Can,
    Equipment,
    Material,
    Schedule,
    ScheduleStep,
    ShopRates,
    StepRate,
    Usable,
)
from shopdesk.shop.queries import the_shop

SNAPSHOT_VERSION = 1
U = TypeVar("U", bound=Usable)


class CanFigures(TypedDict):
    label: str
    volume_ml: str
    price: str


class MaterialFigures(TypedDict):
    """A material as it was. Figures are decimals as text, `None` where not known."""

    id: int
    name: str
    kind: str
    purpose: str
    volume_solids_percent: str | None
    dry_film_um: str | None
    spread_m2_per_l: str | None
    """The sheet's own rate, for where solids and film are not both there."""
    coats: int
    recoat_minutes: int | None
    density_kg_per_l: str | None
    thinning_percent: str
    cautions: str
    cans: list[CanFigures]


class EquipmentFigures(TypedDict):
    id: int
    name: str
    way: str
    transfer: dict[str, str]
    """Shape of piece → the share that stays on it, above 0 and at most 1 ("case" → "0.5")."""
    cup_ml: int
    loss_per_fill_ml: int


class StepFigures(TypedDict):
    """One step. Minutes are added up over area, drawers, doors and the piece; with `per_coat` the whole
    `coats` times over."""

    position: int
    rate: int
    """The step rate's id: what was logged under it comes back to it."""
    name: str
    kind: str
    minutes_per_m2: str
    minutes_per_drawer: str
    minutes_per_door: str
    minutes_per_piece: str
    minutes_once: str
    """For a whole set, however many pieces."""
    per_coat: bool
    outlay_per_piece: str
    cautions: str
    coats: int
    grit: str
    faces: list[str]
    """Groups of faces (`models.Faces`); none named: all."""
    note: str
    only_if: str
    material: MaterialFigures | None
    equipment: EquipmentFigures | None


class RatesFigures(TypedDict):
    currency: str
    wanted_hourly: str
    floor_hourly: str
    minimum_charge: str
    rush_percent: str
    later_piece_factor: str
    sundries_percent: str
    material_markup_percent: str
    minutes_around_a_job: int


class Snapshot(TypedDict):
    """Everything of the book that a piece's estimate needs, as plain JSON."""

    version: int
    schedule: int
    name: str
    words: str
    rates: RatesFigures
    steps: list[StepFigures]


def rates() -> ShopRates:
    """The shop's rates; before they have been written, zeros that are no row yet."""
    return ShopRates.objects.first() or ShopRates(id=1, currency=the_shop().currency)


def has_begun() -> bool:
    """Whether anything is in the book."""
    return any(model.objects.exists() for model in (ShopRates, Material, Equipment, StepRate, Schedule))


def _with_steps() -> QuerySet[Schedule]:
    steps = ScheduleStep.objects.select_related("rate", "material", "equipment").prefetch_related(
        Prefetch("material__cans", queryset=Can.objects.all())
    )
    return Schedule.objects.prefetch_related(Prefetch("steps", queryset=steps))


def schedules(*, retired: bool = False) -> list[Schedule]:
    """The schedules in use by name, with steps, materials and cans; or those out of use. Three statements."""
    return list(_with_steps().filter(retired_at__isnull=not retired))


def schedule(pk: int) -> Schedule | None:
    """One schedule with all it holds, also one that is out of use."""
    return _with_steps().filter(pk=pk).first()


def materials(*, retired: bool = False) -> list[Material]:
    """With their cans, in the order in which kinds are used. Two statements."""
    rows = _use(Material.objects.prefetch_related("cans"), retired=retired)
    return sorted(rows, key=lambda row: Material.Kind.values.index(row.kind))


def equipment(*, retired: bool = False) -> list[Equipment]:
    return list(_use(Equipment.objects.all(), retired=retired))


def step_rates(*, retired: bool = False) -> list[StepRate]:
    """In the order in which kinds come."""
    rows = _use(StepRate.objects.all(), retired=retired)
    return sorted(rows, key=lambda row: StepRate.Kind.values.index(row.kind))


def _use(rows: QuerySet[U], *, retired: bool) -> QuerySet[U]:
    return rows.filter(retired_at__isnull=not retired)


def users_of(row: Usable) -> list[str]:
    """Names of the schedules in use that this material, equipment or step stands in."""
    field = {Material: "steps__material", Equipment: "steps__equipment", StepRate: "steps__rate"}[type(row)]
    found = Schedule.objects.filter(retired_at=None, **{field: row.pk})
    return list(found.order_by("name").values_list("name", flat=True).distinct())


def out_of_use(one: Schedule) -> list[str]:
    """What a schedule still names although it has been taken out of use."""
    named: dict[str, None] = {}
    for step in one.steps.all():
        for row in (step.rate, step.material, step.equipment):
            if row is not None and not row.in_use:
                named[str(row)] = None
    return list(named)


# -- the snapshot --------------------------------------------------------------------------------------------


def rates_figures(kept: ShopRates) -> RatesFigures:
    return {
        "currency": kept.currency,
        "wanted_hourly": _text(kept.wanted_hourly),
        "floor_hourly": _text(kept.floor_hourly),
        "minimum_charge": _text(kept.minimum_charge),
        "rush_percent": _text(kept.rush_percent),
        "later_piece_factor": _text(kept.later_piece_factor),
        "sundries_percent": _text(kept.sundries_percent),
        "material_markup_percent": _text(kept.material_markup_percent),
        "minutes_around_a_job": kept.minutes_around_a_job,
    }


def material_figures(one: Material) -> MaterialFigures:
    return {
        "id": one.pk,
        "name": one.name,
        "kind": one.kind,
        "purpose": one.purpose,
        "volume_solids_percent": _text_or_none(one.volume_solids_percent),
        "dry_film_um": _text_or_none(one.dry_film_um),
        "spread_m2_per_l": _text_or_none(one.spread_m2_per_l),
        "coats": one.coats,
        "recoat_minutes": one.recoat_minutes,
        "density_kg_per_l": _text_or_none(one.density_kg_per_l),
        "thinning_percent": _text(one.thinning_percent),
        "cautions": one.cautions,
        "cans": [
            {"label": can.label, "volume_ml": _text(can.volume_ml), "price": _text(can.price)}
            for can in one.cans.all()
        ],
    }


def equipment_figures(one: Equipment) -> EquipmentFigures:
    return {
        "id": one.pk,
        "name": one.name,
        "way": one.way,
        "transfer": {shape: _text(share) for shape, share in one.transfer().items()},
        "cup_ml": one.cup_ml,
        "loss_per_fill_ml": one.loss_per_fill_ml,
    }


def step_figures(step: ScheduleStep, position: int) -> StepFigures:
    rate = step.rate
    return {
        "position": position,
        "rate": rate.pk,
        "name": rate.name,
        "kind": rate.kind,
        "minutes_per_m2": _text(rate.minutes_per_m2),
        "minutes_per_drawer": _text(rate.minutes_per_drawer),
        "minutes_per_door": _text(rate.minutes_per_door),
        "minutes_per_piece": _text(rate.minutes_per_piece),
        "minutes_once": _text(rate.minutes_once),
        "per_coat": rate.per_coat,
        "outlay_per_piece": _text(rate.outlay_per_piece),
        "cautions": rate.cautions,
        "coats": step.coats,
        "grit": step.grit,
        "faces": list(step.faces),
        "note": step.note,
        "only_if": step.only_if,
        "material": material_figures(step.material) if step.material else None,
        "equipment": equipment_figures(step.equipment) if step.equipment else None,
    }


def snapshot(one: Schedule, kept: ShopRates | None = None) -> Snapshot:
    """A schedule as it is now, with every figure that an estimate needs. `one` as `schedule(pk)` or
    `schedules()` give it: then this takes no statement beyond the one for the rates, unless those are handed
    in."""
    return {
        "version": SNAPSHOT_VERSION,
        "schedule": one.pk,
        "name": one.name,
        "words": one.words,
        "rates": rates_figures(kept or rates()),
        "steps": [step_figures(step, place) for place, step in enumerate(one.steps.all())],
    }


def decimal_of(figures: Mapping[str, object], name: str) -> Decimal | None:
    """A figure of a snapshot as the `Decimal` it was."""
    kept = figures[name]
    return None if kept is None else Decimal(str(kept))


def _text(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _text_or_none(value: Decimal | None) -> str | None:
    return None if value is None else _text(value)
