"""A price book in which every page has something to show: the starting set, rows with all that a row can
hold, rows out of use, and files that wait."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from shopdesk.base.who import Who
from shopdesk.pricebook import actions, queries, sheets
from shopdesk.pricebook.models import Equipment, Material, Schedule, Sheet, StepRate
from shopdesk.pricebook.typed import (
    EquipmentFacts,
    MaterialFacts,
    RatesFacts,
    ScheduleFacts,
    StepFacts,
    StepRateFacts,
    can_of,
)
from shopdesk.shop.queries import the_shop


@dataclass(frozen=True)
class Book:
    """A row with all that it can hold, and one that is out of use, of each kind; and files by what they would
    do."""

    full: dict[str, int]
    retired: dict[str, int]
    files: dict[str, Sheet]


def write_book(who: Who, words: str) -> Book:
    long = words.strip()
    actions.begin(who)
    actions.keep_rates(
        RatesFacts(
            Decimal(62), Decimal(45), Decimal(150), Decimal(25), Decimal("0.8"), Decimal(5), Decimal(20), 90
        ),
        who,
    )
    full = _full(who, words, long)
    retired = _retired(who)
    return Book(full, retired, _files())


def _full(who: Who, words: str, long: str) -> dict[str, int]:
    short, full = long[:90].strip(), long[:300].strip()
    cans = [can_of(f"{size} L", Decimal(size * 30)) for size in range(1, 13)]
    material = actions.keep_material(
        MaterialFacts(
            f"Two-part polyurethane, {short}", Material.Kind.CLEAR, full, Decimal(42), Decimal(30),
            Decimal("9.5"), 3, 240, Decimal("0.98"), Decimal(10), words * 3 + long, cans,
        ),
        who,
    )  # fmt: skip
    tool = actions.keep_equipment(
        EquipmentFacts("A turbine of four stages", Equipment.Way.HVLP, cup_ml=1000, loss_per_fill_ml=60), who
    )
    step = actions.keep_step_rate(
        StepRateFacts(
            f"Strip by hand {short}", StepRate.Kind.PREPARATION, Decimal(40), Decimal(12), Decimal(20),
            Decimal(15), Decimal(10), True, Decimal("4.50"), words * 3 + long,
        ),
        who,
    )  # fmt: skip
    steps = [
        StepFacts(step.pk, material.pk, tool.pk, 3, "220", ["body", "top", "fronts"], full, "lead"),
        StepFacts(step.pk, grit="80"),
    ]
    schedule = actions.keep_schedule(ScheduleFacts("The long way", full, words * 3 + long, steps), who)
    return {"material": material.pk, "tool": tool.pk, "step": step.pk, "schedule": schedule.pk}


def _retired(who: Who) -> dict[str, int]:
    """Each out of use; the first schedule in use still names the material and the step."""
    used = next(one for one in queries.schedules() if any(step.material for step in one.steps.all()))
    step = next(one for one in used.steps.all() if one.material)
    assert step.material is not None
    tool = Equipment.objects.order_by("pk")[0]
    schedule = Schedule.objects.exclude(pk=used.pk).order_by("pk")[0]
    for row in (step.material, step.rate, tool, schedule):
        actions.retire(row, who)
    return {
        "material": step.material.pk, "step": step.rate.pk, "tool": tool.pk, "schedule": schedule.pk
    }  # fmt: skip


def _files() -> dict[str, Sheet]:
    same = sheets.write_materials(queries.materials(), the_shop()).decode("utf-8-sig")
    steps = sheets.write_step_rates(queries.step_rates(), the_shop()).decode("utf-8-sig")
    other = same + 'Boat varnish,clear coat,"outdoors, by the sea",,,12,1,,,,,1 L,28\r\n'
    return {
        name: Sheet.objects.create(kind=kind, text=text)
        for name, kind, text in (
            ("changes", Sheet.Kind.MATERIALS, other),
            ("nothing", Sheet.Kind.STEPS, steps),
            ("stale", Sheet.Kind.MATERIALS, other.replace("clear coat", "cheese")),
        )
    }


FAULTY = "name,kind,volume solids %\r\nBoat varnish,cheese,140\r\n,clear coat,\r\n"
"""A file of materials with mistakes."""
