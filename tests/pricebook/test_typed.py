"""What is wrong with a row of the book, in words and in its place; and the order of grits."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from shopdesk.pricebook import starter
from shopdesk.pricebook.models import Equipment, Material, Shape, StepRate
from shopdesk.pricebook.typed import (
    CanFacts,
    EquipmentFacts,
    MaterialFacts,
    RatesFacts,
    ScheduleFacts,
    StepFacts,
    StepRateFacts,
    can_of,
    faults_of_equipment,
    faults_of_material,
    faults_of_rates,
    faults_of_schedule,
    faults_of_step_rate,
    grit_number,
    grits_in_order,
)

ENAMEL = MaterialFacts(
    "Enamel",
    Material.Kind.COLOUR,
    volume_solids_percent=Decimal(36),
    dry_film_um=Decimal(32),
    cans=[can_of("1 qt", Decimal(34))],
)


def test_a_sound_material_has_no_fault() -> None:
    assert faults_of_material(ENAMEL) == []


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"volume_solids_percent": Decimal(0)}, "volume_solids_percent"),
        ({"volume_solids_percent": Decimal(120)}, "volume_solids_percent"),
        ({"volume_solids_percent": Decimal("33.333")}, "volume_solids_percent"),
        ({"volume_solids_percent": None}, "volume_solids_percent"),
        ({"dry_film_um": None}, "dry_film_um"),
        ({"dry_film_um": Decimal(0)}, "dry_film_um"),
        ({"coats": 400}, "coats"),
        ({"coats": 0}, "coats"),
        ({"spread_m2_per_l": Decimal(0)}, "spread_m2_per_l"),
        ({"density_kg_per_l": Decimal(13)}, "density_kg_per_l"),
        ({"thinning_percent": Decimal(101)}, "thinning_percent"),
        ({"recoat_minutes": -1}, "recoat_minutes"),
        ({"name": " - "}, "name"),
        ({"name": "n" * 121}, "name"),
        ({"kind": "paint"}, "kind"),
    ],
)
def test_what_cannot_be_of_a_material_is_said_at_its_field(change: dict[str, Any], field: str) -> None:
    found = faults_of_material(replace(ENAMEL, **change))
    assert [fault.field for fault in found] == [field]
    assert found[0].sentence.endswith(".")


@pytest.mark.parametrize("solids", [Decimal("0.01"), Decimal(100)])
def test_solids_at_their_edges_can_be(solids: Decimal) -> None:
    assert faults_of_material(replace(ENAMEL, volume_solids_percent=solids)) == []


def test_only_solids_do_with_the_sheets_own_rate() -> None:
    typed = replace(ENAMEL, dry_film_um=None, spread_m2_per_l=Decimal(10))
    assert faults_of_material(typed) == []


def test_cans_are_judged_each_in_its_row() -> None:
    good = can_of("1 qt", Decimal(34))
    cans = [good, CanFacts("", Decimal(0), Decimal(-1)), CanFacts("qt", good.volume_ml, Decimal(1))]
    found = faults_of_material(replace(ENAMEL, cans=cans))
    assert {(fault.row, fault.field) for fault in found} == {(1, "size"), (1, "price"), (2, "size")}


@pytest.mark.parametrize(
    ("typed", "volume_ml"),
    [
        ("1 qt", "946.352946"),
        ("1 gal", "3785.411784"),
        ("1 fl oz", "29.5735295625"),
        ("750 mL", "750"),
        ("2,5 L", "2500"),
        ("2.5", "2500"),
    ],
)
def test_a_can_holds_what_is_printed_on_it_exactly(typed: str, volume_ml: str) -> None:
    can = can_of(f"  {typed} ", Decimal(1))
    assert can.volume_ml == Decimal(volume_ml)
    assert can.label == typed


@pytest.mark.parametrize("typed", ["", "large", "0 L", "-1 qt", "12 oz"])
def test_a_can_without_a_size_is_refused(typed: str) -> None:
    with pytest.raises(ValueError, match=r"\."):
        can_of(typed, Decimal(1))


def test_a_transfer_efficiency_of_nothing_is_refused_and_so_is_more_than_all() -> None:
    transfer = {**dict.fromkeys(Shape, 50), Shape.CHAIR: 0, Shape.BED: 101}
    found = faults_of_equipment(EquipmentFacts("Gun", Equipment.Way.HVLP, transfer, 600, 30))
    assert {fault.field for fault in found} == {"on_chair", "on_bed"}


@pytest.mark.parametrize(
    ("cup", "loss", "field"),
    [(0, 0, "cup_ml"), (600, 600, "loss_per_fill_ml"), (600, -1, "loss_per_fill_ml")],
)
def test_a_gun_has_a_cup_that_gives_something(cup: int, loss: int, field: str) -> None:
    tool = EquipmentFacts("Gun", Equipment.Way.HVLP, cup_ml=cup, loss_per_fill_ml=loss)
    assert [fault.field for fault in faults_of_equipment(tool)] == [field]


def test_a_step_takes_time_or_costs_something() -> None:
    nothing = StepRateFacts("Wait")
    assert [fault.field for fault in faults_of_step_rate(nothing)] == ["minutes_per_piece"]
    assert faults_of_step_rate(replace(nothing, minutes_once=Decimal(5))) == []
    assert faults_of_step_rate(replace(nothing, outlay_per_piece=Decimal(5))) == []
    found = faults_of_step_rate(replace(nothing, minutes_per_m2=Decimal(-1), outlay_per_piece=Decimal(-2)))
    assert {fault.field for fault in found} == {"minutes_per_m2", "outlay_per_piece"}


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"floor_hourly": Decimal(66)}, "floor_hourly"),
        ({"wanted_hourly": Decimal(-1), "floor_hourly": Decimal(0)}, "wanted_hourly"),
        ({"later_piece_factor": Decimal(0)}, "later_piece_factor"),
        ({"later_piece_factor": Decimal("1.1")}, "later_piece_factor"),
        ({"rush_percent": Decimal(501)}, "rush_percent"),
        ({"minutes_around_a_job": -1}, "minutes_around_a_job"),
    ],
)
def test_rates_that_cannot_be(change: dict[str, Any], field: str) -> None:
    sound = RatesFacts(Decimal(65), Decimal(45))
    assert faults_of_rates(sound) == []
    assert [fault.field for fault in faults_of_rates(replace(sound, **change))] == [field]


def test_a_schedules_steps_are_judged_each_in_its_row() -> None:
    steps = [
        StepFacts(1),
        StepFacts(None),
        StepFacts(1, coats=400),
        StepFacts(1, grit="coarse"),
        StepFacts(1, faces=["underside"]),
        StepFacts(1, only_if="rain"),
    ]
    found = faults_of_schedule(ScheduleFacts("Plan", steps=steps))
    assert [(fault.row, fault.field) for fault in found] == [
        (1, "rate"), (2, "coats"), (3, "grit"), (4, "faces"), (5, "only_if"),
    ]  # fmt: skip


# -- grits ---------------------------------------------------------------------------------------------------


def sanded(*grits: int) -> list[tuple[str, str]]:
    return [(str(grit), "") for grit in grits]


@pytest.mark.parametrize(("text", "grit"), [("120", 120), ("P220", 220), ("p 80", 80), ("", 0), ("fine", 0)])
def test_a_grit_as_it_is_written(text: str, grit: int) -> None:
    assert grit_number(text) == grit


@pytest.mark.parametrize(
    "grits", [(80, 120, 180), (100, 120, 150, 180), (80, 100, 150, 180, 220), (220,), ()]
)
def test_grits_in_order_say_nothing(grits: tuple[int, ...]) -> None:
    assert grits_in_order(sanded(*grits)) == []


def test_skipping_two_grits_is_said_with_the_one_to_put_between() -> None:
    (said,) = grits_in_order(sanded(80, 180))
    assert said == ("From 80 to 180 is too far: 180 does not take out what 80 leaves. Put 120 between them.")


def test_a_coarser_grit_after_a_finer_one_is_said() -> None:
    (said,) = grits_in_order(sanded(150, 120))
    assert said == "120 comes after 150: a coarser disc puts scratches back in."


def test_a_coat_between_makes_another_surface() -> None:
    kind = Material.Kind
    assert grits_in_order([("180", ""), ("", kind.PRIMER), ("120", "")]) == []
    assert grits_in_order([("120", ""), ("", kind.SEALER), ("400", "")]) == []
    assert len(grits_in_order([("120", ""), ("", kind.CLEANER), ("400", "")])) == 1


def test_what_a_coarse_disc_leaves_shows_under_stain() -> None:
    assert grits_in_order([("100", ""), ("120", ""), ("", Material.Kind.STAIN)]) == [
        "What 120 leaves shows under stain; end with 150 or finer."
    ]
    assert grits_in_order([("150", ""), ("", Material.Kind.STAIN)]) == []


# -- the starting set ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("metric", [True, False])
def test_the_starting_set_has_no_fault_of_its_own(metric: bool) -> None:
    book = starter.book(metric=metric)
    assert faults_of_rates(book.rates) == []
    for material in book.materials:
        assert faults_of_material(material) == [], material.name
    for tool in book.equipment:
        assert faults_of_equipment(tool) == [], tool.name
    for rate in book.step_rates:
        assert faults_of_step_rate(rate) == [], rate.name


def kinds_of(plan: starter.Plan) -> list[tuple[str, str]]:
    kinds = {material.name: str(material.kind) for material in starter.book().materials}
    return [(step.grit, kinds.get(step.material, "")) for step in plan.steps]


PLANS = starter.book().schedules


@pytest.mark.parametrize("plan", PLANS, ids=[plan.name for plan in PLANS])
def test_every_starting_schedule_is_good_practice(plan: starter.Plan) -> None:
    """Degreased before anything touches the wood, grits in order, tested for lead before dust is made, and
    at least three coats of what must last, sanded at 400 between."""
    names = [step.rate for step in plan.steps]
    kinds = kinds_of(plan)
    assert grits_in_order(kinds) == []
    first = next(place for place, (grit, kind) in enumerate(kinds) if grit or kind)
    assert names[first] == starter.DEGREASE
    lead = names.index(starter.LEAD_TEST)
    assert plan.steps[lead].only_if == "lead"
    assert all(
        place > lead for place, step in enumerate(plan.steps) if step.grit or step.rate == starter.STRIP
    )
    for step in plan.steps:
        if step.material in (starter.ENAMEL, starter.CLEAR, starter.HARD_CLEAR):
            assert step.coats >= 3
            between = [one for one in plan.steps if one.rate == starter.BETWEEN and one.grit == "400"]
            assert between[-1].coats == step.coats - 1
        if step.rate == starter.SPRAY:
            assert "50 % overlap" in step.note
            assert {starter.MASK, starter.TACK, starter.CLEAN_GUN} <= set(names)


def test_a_sound_finish_is_scuffed_at_220_and_tested_and_bare_or_bleeding_wood_is_sealed_and_primed() -> None:
    plans = {plan.name: plan for plan in PLANS}
    sound = plans["Painted, over a sound finish"].steps
    assert [step.grit for step in sound if step.rate == starter.SCUFF_SAND] == ["220"]
    assert starter.ADHESION in [step.rate for step in sound]
    assert not {starter.PRIMER, starter.BLOCKER} & {step.material for step in sound}
    for name in ("Painted, from bare or unknown wood", "Painted, wood that bleeds"):
        kinds = [kind for _, kind in kinds_of(plans[name]) if kind]
        assert (
            kinds.index(Material.Kind.SEALER)
            < kinds.index(Material.Kind.PRIMER)
            < kinds.index(Material.Kind.COLOUR)
        )


def test_the_starting_guns_lose_what_the_trade_says() -> None:
    for tool in starter.book().equipment:
        if tool.way == Equipment.Way.HVLP:
            assert tool.transfer[Shape.CASE] == 50
            assert 25 <= tool.transfer[Shape.CHAIR] <= 35


def test_every_step_that_a_schedule_names_is_there() -> None:
    book = starter.book()
    rates = {rate.name for rate in book.step_rates}
    materials = {material.name for material in book.materials}
    tools = {tool.name for tool in book.equipment}
    assert len(rates) == len(book.step_rates)
    for plan in PLANS:
        for step in plan.steps:
            assert step.rate in rates
            assert not step.material or step.material in materials
            assert not step.equipment or step.equipment in tools
    used = {step.rate for plan in PLANS for step in plan.steps}
    assert {rate.name for rate in book.step_rates if rate.kind != StepRate.Kind.OTHER} - used == {
        starter.BRUSH_ON
    }
