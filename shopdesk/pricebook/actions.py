"""Writing the price book. Nothing here changes a quote: those keep the snapshot they were reckoned from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TypeVar

from django.db import IntegrityError, models, transaction
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.craft.money import minor_units
from shopdesk.craft.rounding import half_up
from shopdesk.pricebook import sheets, starter
from shopdesk.pricebook.models import (
    Can,
    Equipment,
    Material,
    Schedule,
    ScheduleStep,
    Sheet,
    ShopRates,
    StepRate,
    Usable,
)
from shopdesk.pricebook.typed import (
    EquipmentFacts,
    Fault,
    MaterialFacts,
    RatesFacts,
    ScheduleFacts,
    StepFacts,
    StepRateFacts,
    faults_of_equipment,
    faults_of_material,
    faults_of_rates,
    faults_of_schedule,
    faults_of_step_rate,
)
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop

U = TypeVar("U", bound=Usable)
N = TypeVar("N", Material, Equipment, StepRate, Schedule)

_GONE = "That is no longer in the price book."
_TAKEN = "There is one of that name already, perhaps out of use."


class Faulty(Refused):
    """What was typed cannot stand; every fault with its place."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__(faults[0].sentence, field=faults[0].field)
        self.faults = list(faults)


class Older(Refused):
    """Somebody saved a newer edition meanwhile."""

    def __init__(self, edition: int) -> None:
        super().__init__("Somebody changed this schedule while you were writing.")
        self.edition = edition


def _owner_only(who: Who) -> None:
    if not who.is_owner:
        raise Refused("That is the shop's to say.")


def _sound(faults: Sequence[Fault]) -> None:
    if faults:
        raise Faulty(faults)


@transaction.atomic
def keep_rates(typed: RatesFacts, who: Who) -> ShopRates:
    """What the shop wants to earn and adds. From now on the book's prices are in the shop's currency."""
    _owner_only(who)
    _sound(faults_of_rates(typed))
    values = {**vars(typed), "currency": the_shop().currency}
    kept, _ = ShopRates.objects.update_or_create(id=1, defaults=values)
    return kept


def _row(model: type[N], pk: int | None) -> N:
    """The row to write, locked where there is one."""
    row = model() if pk is None else model._default_manager.select_for_update().filter(pk=pk).first()
    if row is None:
        raise Refused(_GONE)
    return row


def _free(model: type[N], pk: int | None, name: str) -> None:
    """The name is nobody else's, in any writing of it."""
    others = model._default_manager.exclude(pk=pk) if pk is not None else model._default_manager.all()
    if any(other.casefold() == name.casefold() for other in others.values_list("name", flat=True)):
        raise Faulty([Fault(_TAKEN, "name")])


def _written(model: type[N], pk: int | None, name: str, write: Callable[[], N]) -> N:
    """`write` in a transaction under a free name; one that somebody else took in this moment is said like any
    other."""
    try:
        with transaction.atomic():
            _free(model, pk, name)
            return write()
    except IntegrityError as error:
        raise Faulty([Fault(_TAKEN, "name")]) from error


def keep_material(typed: MaterialFacts, who: Who, pk: int | None = None) -> Material:
    """A new material, or (with `pk`) another writing of one, with all its cans."""
    _owner_only(who)
    typed = replace(typed, name=" ".join(typed.name.split()))
    _sound(faults_of_material(typed))
    return _written(Material, pk, typed.name, lambda: _write_material(typed, pk))


def _write_material(typed: MaterialFacts, pk: int | None) -> Material:
    material = _row(Material, pk)
    for name, value in vars(typed).items():
        if name != "cans":
            setattr(material, name, value)
    material.save()
    material.cans.all().delete()
    Can.objects.bulk_create(Can(material=material, **vars(can)) for can in typed.cans)
    return material


def keep_equipment(typed: EquipmentFacts, who: Who, pk: int | None = None) -> Equipment:
    _owner_only(who)
    typed = replace(typed, name=" ".join(typed.name.split()))
    _sound(faults_of_equipment(typed))
    return _written(Equipment, pk, typed.name, lambda: _write_equipment(typed, pk))


def _write_equipment(typed: EquipmentFacts, pk: int | None) -> Equipment:
    tool = _row(Equipment, pk)
    tool.name, tool.way = typed.name, typed.way
    tool.cup_ml, tool.loss_per_fill_ml = typed.cup_ml, typed.loss_per_fill_ml
    for shape, percent in typed.transfer.items():
        setattr(tool, shape.column, percent)
    tool.save()
    return tool


def keep_step_rate(typed: StepRateFacts, who: Who, pk: int | None = None) -> StepRate:
    _owner_only(who)
    typed = replace(typed, name=" ".join(typed.name.split()))
    _sound(faults_of_step_rate(typed))
    return _written(StepRate, pk, typed.name, lambda: _write_step_rate(typed, pk))


def _write_step_rate(typed: StepRateFacts, pk: int | None) -> StepRate:
    rate = _row(StepRate, pk)
    for name, value in vars(typed).items():
        setattr(rate, name, value)
    rate.save()
    return rate


def keep_schedule(typed: ScheduleFacts, who: Who, pk: int | None = None, edition: int = 0) -> Schedule:
    """A new schedule, or (with `pk`) another writing of the `edition` that was read; raises `Older` when it
    is no longer the newest."""
    _owner_only(who)
    typed = replace(typed, name=" ".join(typed.name.split()))
    _sound(faults_of_schedule(typed))
    return _written(Schedule, pk, typed.name, lambda: _write_schedule(typed, pk, edition))


def _write_schedule(typed: ScheduleFacts, pk: int | None, edition: int) -> Schedule:
    schedule = _row(Schedule, pk)
    if pk is not None and schedule.edition != edition:
        raise Older(schedule.edition)
    _sound(_of_strangers(typed.steps))
    schedule.name, schedule.for_what, schedule.words = typed.name, typed.for_what, typed.words
    if pk is not None:
        schedule.edition += 1
    schedule.save()
    schedule.steps.all().delete()
    ScheduleStep.objects.bulk_create(
        ScheduleStep(
            schedule=schedule,
            position=position,
            rate_id=rate,
            material_id=step.material,
            equipment_id=step.equipment,
            coats=step.coats,
            grit=step.grit,
            faces=list(step.faces),
            note=step.note,
            only_if=step.only_if,
        )
        for position, step in enumerate(typed.steps)
        if (rate := step.rate) is not None  # seen to by `faults_of_schedule`
    )
    return schedule


def _of_strangers(steps: Sequence[StepFacts]) -> list[Fault]:
    """Steps that name what is not in the book."""
    found: list[Fault] = []
    kinds: tuple[tuple[str, type[models.Model]], ...] = (
        ("rate", StepRate),
        ("material", Material),
        ("equipment", Equipment),
    )
    for field, model in kinds:
        wanted = {getattr(step, field) for step in steps} - {None}
        known = set(model._default_manager.filter(pk__in=wanted).values_list("pk", flat=True))
        found += [
            Fault(_GONE, field, row)
            for row, step in enumerate(steps)
            if getattr(step, field) is not None and getattr(step, field) not in known
        ]
    return found


@transaction.atomic
def retire(row: Usable, who: Who) -> None:
    """Take it out of use. Schedules that name it and quotes that were reckoned with it keep it."""
    _owner_only(who)
    changed = type(row)._default_manager.filter(pk=row.pk, retired_at=None).update(retired_at=timezone.now())
    if not changed:
        raise Refused("It is out of use already.")


@transaction.atomic
def bring_back(row: Usable, who: Who) -> None:
    _owner_only(who)
    if not type(row)._default_manager.filter(pk=row.pk).exclude(retired_at=None).update(retired_at=None):
        raise Refused("It is in use.")


# -- a first book --------------------------------------------------------------------------------------------


def begin(who: Who) -> None:
    """Fill an empty book with the starting set: invented materials, common rates, ready schedules. Rates that
    were written before stay. Prices are the invented shop's, in the currency of this one."""
    _owner_only(who)
    try:
        with transaction.atomic():
            _begin()
    except IntegrityError as error:  # somebody else began in this moment
        raise Refused(_BEGUN) from error


_BEGUN = "There is something in the price book already."


def _begin() -> None:
    if any(model._default_manager.exists() for model in (Material, Equipment, StepRate, Schedule)):
        raise Refused(_BEGUN)
    shop = the_shop()
    currency = shop.currency
    book = starter.book(metric=shop.units == shop.Units.CENTIMETRES)
    if not ShopRates.objects.exists():
        facts = vars(book.rates)
        money = ("wanted_hourly", "floor_hourly", "minimum_charge")
        ShopRates.objects.create(
            id=1, currency=currency, **{**facts, **{name: _in(facts[name], currency) for name in money}}
        )
    materials = {
        one.name: _write_material(
            replace(one, cans=[replace(can, price=_in(can.price, currency)) for can in one.cans]), None
        )
        for one in book.materials
    }
    tools = {tool.name: _write_equipment(tool, None) for tool in book.equipment}
    rates = {
        one.name: _write_step_rate(replace(one, outlay_per_piece=_in(one.outlay_per_piece, currency)), None)
        for one in book.step_rates
    }
    for schedule in book.schedules:
        steps = [
            StepFacts(
                rate=rates[step.rate].pk,
                material=materials[step.material].pk if step.material else None,
                equipment=tools[step.equipment].pk if step.equipment else None,
                coats=step.coats,
                grit=step.grit,
                faces=step.faces,
                note=step.note,
                only_if=step.only_if,
            )
            for step in schedule.steps
        ]
        _write_schedule(ScheduleFacts(schedule.name, schedule.for_what, schedule.words, steps), None, 0)


def _in(price: Decimal, currency: str) -> Decimal:
    """A price of the invented shop in a currency: where that has no decimals (yen), figures run about a
    hundredfold."""
    minor = minor_units(currency)
    return half_up(price * 100, -1) if minor == 0 else half_up(price, min(minor, 2))


# -- a file of materials or steps ----------------------------------------------------------------------------


@transaction.atomic
def take_in(sheet: Sheet, shop: Shop, who: Who) -> int:
    """Take a waiting file in: all of it or, when a line cannot stand by now, nothing. Rows known by name are
    written anew. Answers how many rows changed."""
    _owner_only(who)
    if not Sheet.objects.select_for_update().filter(pk=sheet.pk).exists():
        raise Refused("That file has been taken in already.")
    if sheet.kind == Sheet.Kind.MATERIALS:
        materials = list(Material.objects.select_for_update().prefetch_related("cans"))
        reading = sheets.read_materials(sheet.text, shop, materials)
        _readable(reading.faults)
        ids = {row.name.casefold(): row.pk for row in materials}
        changed = [change.facts for change in reading.changes if change.matters]
        for facts in changed:
            _write_material(facts, ids.get(facts.name.casefold()))
        sheet.delete()
        return len(changed)
    rates = list(StepRate.objects.select_for_update())
    steps = sheets.read_step_rates(sheet.text, shop, rates)
    _readable(steps.faults)
    ids = {row.name.casefold(): row.pk for row in rates}
    typed = [change.facts for change in steps.changes if change.matters]
    for one in typed:
        _write_step_rate(one, ids.get(one.name.casefold()))
    sheet.delete()
    return len(typed)


def _readable(faults: Sequence[sheets.LineFault]) -> None:
    if faults:
        raise Refused(f"Line {faults[0].line}: {faults[0].sentence}")
