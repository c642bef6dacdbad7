"""Writing the book, and the snapshot that a quote keeps of it."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError
from pytest_django import DjangoAssertNumQueries

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.pricebook import actions, queries, starter
from shopdesk.pricebook.models import (
    Can,
    Equipment,
    Material,
    Schedule,
    ScheduleStep,
    ShopRates,
    StepRate,
)
from shopdesk.pricebook.typed import (
    EquipmentFacts,
    MaterialFacts,
    RatesFacts,
    ScheduleFacts,
    StepFacts,
    StepRateFacts,
    can_of,
)
from shopdesk.shop.models import Shop

pytestmark = pytest.mark.django_db

OIL = MaterialFacts(
    "Oil", Material.Kind.OIL, spread_m2_per_l=Decimal(20), cans=[can_of("1 qt", Decimal("58.50"))]
)
SAND = StepRateFacts("Sand", minutes_per_m2=Decimal(10))


def test_before_anything_is_written_the_rates_are_zeros_and_no_row(shop: Shop) -> None:
    assert queries.rates().wanted_hourly == 0
    assert not ShopRates.objects.exists()
    assert not queries.has_begun()


def test_rates_are_kept_once_in_the_shops_currency(as_owner: Who, shop: Shop) -> None:
    actions.keep_rates(RatesFacts(Decimal(65), Decimal(45)), as_owner)
    Shop.objects.update(currency="EUR")
    actions.keep_rates(RatesFacts(Decimal("70.50"), Decimal(45)), as_owner)
    kept = ShopRates.objects.get()
    assert (kept.wanted_hourly, kept.currency) == (Decimal("70.50"), "EUR")


def test_a_material_is_kept_with_its_cans_exactly_and_written_anew(as_owner: Who) -> None:
    kept = actions.keep_material(OIL, as_owner)
    assert Can.objects.get().volume_ml == Decimal("946.352946")
    cans = [can_of("1 fl oz", Decimal(3)), can_of("2.5 L", Decimal(190))]
    actions.keep_material(replace(OIL, name="  Oil,  hard ", cans=cans), as_owner, kept.pk)
    row = Material.objects.get()
    assert row.name == "Oil, hard"
    assert [(can.label, can.volume_ml) for can in row.cans.all()] == [
        ("1 fl oz", Decimal("29.5735295625")),
        ("2.5 L", Decimal(2500)),
    ]


@pytest.mark.parametrize("name", ["Oil", " oil ", "OIL"])
def test_a_name_is_there_once_in_any_writing_also_out_of_use(name: str, as_owner: Who) -> None:
    actions.retire(actions.keep_material(OIL, as_owner), as_owner)
    with pytest.raises(actions.Faulty) as no:
        actions.keep_material(replace(OIL, name=name), as_owner)
    assert no.value.field == "name"
    assert Material.objects.count() == 1


def test_what_cannot_be_is_refused_with_all_that_is_wrong(as_owner: Who) -> None:
    with pytest.raises(actions.Faulty) as no:
        actions.keep_material(replace(OIL, coats=400, spread_m2_per_l=Decimal(0)), as_owner)
    assert {fault.field for fault in no.value.faults} == {"coats", "spread_m2_per_l"}
    assert not Material.objects.exists()


def test_the_database_refuses_what_cannot_be(shop: Shop) -> None:
    for row in (
        Material(name="a", volume_solids_percent=Decimal(0)),
        Material(name="a", volume_solids_percent=Decimal(120)),
        Material(name="a", coats=400),
        Equipment(name="a", on_chair=0),
        Equipment(name="a", cup_ml=100, loss_per_fill_ml=100),
        StepRate(name="a", minutes_per_m2=Decimal(-1)),
        ShopRates(id=2, currency="USD"),
        ShopRates(id=1, currency="USD", later_piece_factor=Decimal(0)),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            row.save()


def test_only_the_owner_writes_the_book(as_client: Who, as_owner: Who) -> None:
    with pytest.raises(Refused):
        actions.keep_material(OIL, as_client)
    with pytest.raises(Refused):
        actions.begin(as_client)
    kept = actions.keep_material(OIL, as_owner)
    with pytest.raises(Refused):
        actions.retire(kept, as_client)


def test_out_of_use_and_back(as_owner: Who) -> None:
    kept = actions.keep_material(OIL, as_owner)
    actions.retire(kept, as_owner)
    assert queries.materials() == []
    assert [row.name for row in queries.materials(retired=True)] == ["Oil"]
    with pytest.raises(Refused):
        actions.retire(kept, as_owner)
    actions.bring_back(kept, as_owner)
    assert [row.name for row in queries.materials()] == ["Oil"]
    with pytest.raises(Refused):
        actions.bring_back(kept, as_owner)


# -- schedules -----------------------------------------------------------------------------------------------


@pytest.fixture
def plan(as_owner: Who) -> Schedule:
    rate = actions.keep_step_rate(SAND, as_owner)
    oil = actions.keep_material(OIL, as_owner)
    steps = [
        StepFacts(rate.pk, grit="120", faces=["top"]),
        StepFacts(rate.pk, oil.pk, coats=2, only_if="lead", note="thin"),
    ]
    made = actions.keep_schedule(ScheduleFacts("Oiled", "Tables", "We oil it.", steps), as_owner)
    found = queries.schedule(made.pk)
    assert found is not None
    return found


def facts_of(schedule: Schedule) -> ScheduleFacts:
    steps = [
        StepFacts(
            step.rate_id, step.material_id, step.equipment_id, step.coats, step.grit, step.faces, step.note,
            step.only_if,
        )
        for step in schedule.steps.all()
    ]  # fmt: skip
    return ScheduleFacts(schedule.name, schedule.for_what, schedule.words, steps)


def test_a_schedule_keeps_its_steps_in_their_order(plan: Schedule, as_owner: Who) -> None:
    typed = facts_of(plan)
    turned = replace(typed, steps=list(reversed(typed.steps)))
    actions.keep_schedule(turned, as_owner, plan.pk, plan.edition)
    assert facts_of(Schedule.objects.get()) == turned


def test_whoever_saves_an_older_edition_is_told_and_changes_nothing(plan: Schedule, as_owner: Who) -> None:
    typed = facts_of(plan)
    actions.keep_schedule(replace(typed, words="Hers."), as_owner, plan.pk, 1)
    with pytest.raises(actions.Older) as no:
        actions.keep_schedule(replace(typed, words="His."), as_owner, plan.pk, 1)
    assert no.value.edition == 2
    assert Schedule.objects.get().words == "Hers."
    actions.keep_schedule(replace(typed, words="His."), as_owner, plan.pk, no.value.edition)
    assert Schedule.objects.get().words == "His."


def test_a_step_names_what_is_in_the_book(plan: Schedule, as_owner: Who) -> None:
    with pytest.raises(actions.Faulty) as no:
        actions.keep_schedule(replace(facts_of(plan), steps=[StepFacts(99_999)]), as_owner, plan.pk, 1)
    assert [(fault.field, fault.row) for fault in no.value.faults] == [("rate", 0)]
    assert ScheduleStep.objects.count() == 2


def test_a_row_that_a_schedule_names_cannot_be_deleted(plan: Schedule) -> None:
    for row in (Material.objects.get(), StepRate.objects.get()):
        with pytest.raises(ProtectedError):
            row.delete()


def test_a_row_out_of_use_stays_in_its_schedule_which_says_so(plan: Schedule, as_owner: Who) -> None:
    oil = Material.objects.get()
    assert queries.users_of(oil) == ["Oiled"]
    actions.retire(oil, as_owner)
    found = queries.schedule(plan.pk)
    assert found is not None
    assert queries.out_of_use(found) == ["Oil"]
    assert queries.snapshot(found)["steps"][1]["material"] is not None


# -- the snapshot --------------------------------------------------------------------------------------------


def test_a_snapshot_is_plain_json_and_later_changes_do_not_reach_it(plan: Schedule, as_owner: Who) -> None:
    actions.keep_rates(RatesFacts(Decimal(65), Decimal(45)), as_owner)
    taken = json.loads(json.dumps(queries.snapshot(plan)))
    oil, rate = Material.objects.get(), StepRate.objects.get()
    actions.keep_material(
        replace(OIL, name="Other oil", spread_m2_per_l=Decimal(9), cans=[]), as_owner, oil.pk
    )
    actions.keep_step_rate(replace(SAND, minutes_per_m2=Decimal(99)), as_owner, rate.pk)
    actions.retire(plan, as_owner)
    assert taken["rates"]["wanted_hourly"] == "65"
    assert taken["name"] == "Oiled"
    first, second = taken["steps"]
    assert (first["name"], first["minutes_per_m2"], first["grit"], first["faces"]) == (
        "Sand", "10", "120", ["top"],
    )  # fmt: skip
    assert second["only_if"] == "lead"
    assert second["coats"] == 2
    assert second["material"]["spread_m2_per_l"] == "20"
    assert second["material"]["cans"] == [{"label": "1 qt", "volume_ml": "946.352946", "price": "58.5"}]
    assert queries.decimal_of(second["material"], "spread_m2_per_l") == Decimal(20)
    assert queries.decimal_of(second["material"], "dry_film_um") is None


def test_a_snapshot_says_how_much_stays_on_each_shape(book: None) -> None:
    (found,) = (one for one in queries.schedules() if one.name == "Stripped and clear")
    sprayed = [step for step in queries.snapshot(found)["steps"] if step["name"] == starter.SPRAY]
    assert sprayed[0]["equipment"] is not None
    assert sprayed[0]["equipment"]["transfer"]["case"] == "0.5"
    assert sprayed[0]["equipment"]["transfer"]["mirror frame"] == "0.3"


def test_schedules_take_a_fixed_number_of_statements(
    book: None, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_num_queries(3):
        found = queries.schedules()
        kept = ShopRates(id=1, currency="USD")
        assert len([queries.snapshot(one, kept) for one in found]) == 8


# -- a first book --------------------------------------------------------------------------------------------


def test_the_book_begins_with_the_starting_set_once(as_owner: Who) -> None:
    actions.begin(as_owner)
    assert queries.has_begun()
    assert len(queries.schedules()) == len(starter.book().schedules)
    assert ScheduleStep.objects.filter(only_if="lead").count() == 8
    with pytest.raises(Refused):
        actions.begin(as_owner)
    assert Schedule.objects.count() == 8


def test_rates_that_were_written_before_stay(as_owner: Who) -> None:
    actions.keep_rates(RatesFacts(Decimal(90), Decimal(80)), as_owner)
    actions.begin(as_owner)
    assert queries.rates().wanted_hourly == 90


@pytest.mark.parametrize(
    ("currency", "units", "label", "hourly"),
    [("USD", "in", "1 qt", "65"), ("EUR", "cm", "750 mL", "65"), ("JPY", "cm", "750 mL", "6500")],
)
def test_the_starting_set_comes_in_the_shops_money_and_cans(
    currency: str, units: str, label: str, hourly: str, as_owner: Who
) -> None:
    Shop.objects.update(currency=currency, units=units)
    actions.begin(as_owner)
    assert Can.objects.filter(label=label).exists()
    assert queries.rates().wanted_hourly == Decimal(hourly)
    if currency == "JPY":
        assert all(can.price == can.price.to_integral_value() for can in Can.objects.all())


def test_equipment_is_kept(as_owner: Who) -> None:
    kept = actions.keep_equipment(EquipmentFacts("Brush"), as_owner)
    actions.keep_equipment(EquipmentFacts("Old brush"), as_owner, kept.pk)
    assert Equipment.objects.get().name == "Old brush"
    with pytest.raises(Refused):
        actions.keep_equipment(EquipmentFacts("Brush"), as_owner, 99_999)


@pytest.mark.django_db(transaction=True)
def test_two_who_begin_at_once_make_one_book(as_owner: Who) -> None:
    said: list[str] = []

    def press() -> None:
        try:
            actions.begin(as_owner)
            said.append("begun")
        except Refused:
            said.append("refused")
        finally:
            connection.close()

    threads = [threading.Thread(target=press) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(said) == ["begun", "refused", "refused"]
    assert Material.objects.count() == len(starter.book().materials)
