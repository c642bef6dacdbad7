"""The owner's pages of the price book, without any JavaScript."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from shopdesk.base.who import Who
from shopdesk.pricebook import actions, queries
from shopdesk.pricebook.models import Equipment, Material, Schedule, Sheet, ShopRates, StepRate
from shopdesk.shop.models import Shop

pytestmark = pytest.mark.django_db

LISTS = ["prices", "price-steps", "price-materials", "price-tools", "price-rates"]
NEW = ["price-schedule-new", "price-step-new", "price-material-new", "price-tool-new"]


def page(desk: Browser, name: str, *args: Any) -> str:
    answer = desk.get(reverse(f"desk:{name}", args=args))
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize("name", [*LISTS, *NEW])
def test_every_page_of_an_empty_book_can_be_looked_at(name: str, desk: Browser) -> None:
    text = page(desk, name)
    assert 'style="' not in text
    assert not ShopRates.objects.exists()


@pytest.mark.parametrize("name", [*LISTS, *NEW])
def test_no_client_sees_any_of_it(name: str, portal: Browser) -> None:
    answer = portal.get(reverse(f"desk:{name}"))
    assert answer.status_code == 302
    assert "sign-in" in answer["Location"]


def test_the_shops_page_leads_to_it(desk: Browser) -> None:
    assert reverse("desk:prices") in page(desk, "shop")


def test_an_empty_book_offers_to_begin_and_begins_once(desk: Browser) -> None:
    assert "Start with a sensible set" in page(desk, "prices")
    for _ in range(2):
        answer = desk.post(reverse("desk:price-begin"), {}, follow=True)
    assert "There is something in the price book already." in answer.content.decode()
    assert Schedule.objects.count() == 8
    assert "Start with a sensible set" not in page(desk, "prices")


@pytest.mark.parametrize(
    ("name", "most"), [("prices", 11), ("price-steps", 10), ("price-materials", 11), ("price-tools", 10)]
)
def test_lists_take_as_many_statements_however_long(
    name: str,
    most: int,
    book: None,
    desk: Browser,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    with django_assert_max_num_queries(most):
        page(desk, name)


# -- rates ---------------------------------------------------------------------------------------------------

RATES = {
    "wanted_hourly": "65.50", "floor_hourly": "45", "minimum_charge": "180", "rush_percent": "25",
    "later_piece_factor": "0.85", "sundries_percent": "12", "material_markup_percent": "20",
    "minutes_around_a_job": "150",
}  # fmt: skip


def test_rates_are_kept_and_shown_again(desk: Browser) -> None:
    here = reverse("desk:price-rates")
    assert desk.post(here, RATES).status_code == 302
    kept = ShopRates.objects.get()
    assert (kept.wanted_hourly, kept.later_piece_factor) == (Decimal("65.50"), Decimal("0.85"))
    assert 'value="65.50"' in page(desk, "price-rates")


def test_rates_that_cannot_be_are_told_beside_their_fields_and_nothing_is_lost(desk: Browser) -> None:
    answer = desk.post(
        reverse("desk:price-rates"), {**RATES, "floor_hourly": "70", "later_piece_factor": "2"}
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "The least is not above what you want to earn." in beside(text, "floor_hourly")
    assert "Between 0.1 and 1" in beside(text, "later_piece_factor")
    assert 'value="70"' in text
    assert not ShopRates.objects.exists()


def beside(text: str, field: str) -> str:
    """The part of a page from this field's frame to the next."""
    found = re.search(rf'id="div_id_{field}".*?(?=id="div_id_|</form>)', text, re.DOTALL)
    assert found, field
    return found.group()


def test_another_currency_is_said_until_the_rates_are_kept(book: None, desk: Browser) -> None:
    Shop.objects.update(currency="EUR")
    assert "were written in USD" in page(desk, "price-materials")
    desk.post(reverse("desk:price-rates"), RATES)
    assert "were written in USD" not in page(desk, "price-materials")


# -- materials -----------------------------------------------------------------------------------------------

LACQUER = {
    "name": "Lacquer", "kind": "clear coat", "purpose": "Tops", "volume_solids_percent": "30",
    "dry_film_um": "30", "spread_m2_per_l": "", "coats": "3", "recoat_minutes": "120",
    "thinning_percent": "", "density_kg_per_l": "1.03", "cautions": "",
    "can-0-size": "1 qt", "can-0-price": "31", "can-1-size": "", "can-1-price": "",
}  # fmt: skip


def test_a_material_is_written_and_its_cans_changed(desk: Browser) -> None:
    answer = desk.post(reverse("desk:price-material-new"), LACQUER)
    made = Material.objects.get()
    assert answer["Location"] == reverse("desk:price-material", args=[made.pk])
    text = page(desk, "price-material", made.pk)
    assert 'value="1 qt"' in text
    assert text.count('-size"') >= 3  # the size that is there, and room for two
    more = {**LACQUER, "can-0-size": "", "can-0-price": "", "can-1-size": "2,5 L", "can-1-price": "80"}
    desk.post(reverse("desk:price-material", args=[made.pk]), more)
    assert [(can.label, can.volume_ml, can.price) for can in made.cans.all()] == [
        ("2,5 L", Decimal(2500), Decimal(80))
    ]


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("volume_solids_percent", "0", "above 0 and at most 100 percent"),
        ("volume_solids_percent", "120", "above 0 and at most 100 percent"),
        ("coats", "400", "Between 1 and 30 coats."),
        ("coats", "two", "Write a number"),
        ("dry_film_um", "-30", "without a minus sign"),
        ("name", "", "Give it a name."),
    ],
)
def test_a_material_that_cannot_be_is_told_beside_the_field(
    field: str, typed: str, said: str, desk: Browser
) -> None:
    answer = desk.post(reverse("desk:price-material-new"), {**LACQUER, field: typed})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert said in beside(text, field)
    assert 'value="1 qt"' in text
    assert not Material.objects.exists()


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"can-0-size": ""}, "What does it hold?"),
        ({"can-0-price": ""}, "What does it cost?"),
        ({"can-0-price": "-4"}, "without a minus sign"),
        ({"can-0-size": "big"}, "We cannot read that as a volume"),
        ({"can-1-size": "2 pt", "can-1-price": "30"}, "This size is there twice"),
    ],
)
def test_a_can_that_cannot_be_is_told_in_its_row(cells: dict[str, str], said: str, desk: Browser) -> None:
    answer = desk.post(reverse("desk:price-material-new"), {**LACQUER, **cells})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Material.objects.exists()


@pytest.mark.parametrize(
    ("field", "text", "kept"),
    [
        ("dry_film_um", "1.2 mil", "30.48"),
        ("dry_film_um", "30 µm", "30"),
        ("dry_film_um", "2 mils", "50.80"),
        ("spread_m2_per_l", "400 sq ft/gal", "9.82"),  # 400 × 0.09290304 ÷ 3.785411784
        ("spread_m2_per_l", "400 ft²/gal", "9.82"),
        ("spread_m2_per_l", "9,5 m²/L", "9.5"),
    ],
)
def test_a_data_sheets_figure_may_be_in_american_units(
    field: str, text: str, kept: str, desk: Browser
) -> None:
    desk.post(reverse("desk:price-material-new"), {**LACQUER, field: text})
    assert getattr(Material.objects.get(), field) == Decimal(kept)


def test_pressing_twice_writes_one_material(desk: Browser) -> None:
    typed = {**LACQUER, "submission": "5b0e3a8e-8d3c-4a57-9a62-0d1a3f5ad001"}
    first, second = (desk.post(reverse("desk:price-material-new"), typed) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Material.objects.count() == 1


def test_out_of_use_and_back_by_presses(book: None, desk: Browser) -> None:
    oil = Material.objects.get(kind="oil")
    assert "It stands in Oiled. There" in page(desk, "price-material", oil.pk)
    use = reverse("desk:price-use", args=["material", oil.pk])
    desk.post(use, {})
    assert "Out of use (1)" in page(desk, "price-materials")
    assert "Hardwax oil" in page(desk, "prices")  # its schedule says so
    desk.post(use, {"back": "1"})
    assert "Out of use" not in page(desk, "price-materials")


# -- equipment and steps -------------------------------------------------------------------------------------


def test_a_tool_that_leaves_nothing_on_the_piece_is_told(book: None, desk: Browser) -> None:
    gun = Equipment.objects.get(cup_ml=600)
    typed = {
        "name": gun.name, "way": "hvlp", "cup_ml": "600", "loss_per_fill_ml": "30", "on_case": "0",
        **{f"on_{name}": "30" for name in ("table", "chair", "bed", "bench", "frame", "other")},
    }  # fmt: skip
    here = reverse("desk:price-tool", args=[gun.pk])
    answer = desk.post(here, typed)
    assert answer.status_code == 422
    assert "From 1 to 100 percent" in beside(answer.content.decode(), "on_case")
    assert desk.post(here, {**typed, "on_case": "55"}).status_code == 302
    gun.refresh_from_db()
    assert (gun.on_case, gun.on_chair) == (55, 30)


def test_a_step_is_written(desk: Browser) -> None:
    typed = {
        "name": "Polish", "kind": "finish", "minutes_per_m2": "12,5", "per_coat": "on",
        "outlay_per_piece": "4.20",
    }  # fmt: skip
    assert desk.post(reverse("desk:price-step-new"), typed).status_code == 302
    made = StepRate.objects.get()
    assert (made.minutes_per_m2, made.per_coat, made.outlay_per_piece) == (
        Decimal("12.5"), True, Decimal("4.20"),
    )  # fmt: skip


# -- schedules -----------------------------------------------------------------------------------------------


@pytest.fixture
def plan(book: None) -> Schedule:
    found = queries.schedule(Schedule.objects.get(name="Oiled").pk)
    assert found is not None
    return found


def typed(plan: Schedule) -> dict[str, Any]:
    """The page's form as a browser would send it."""
    data: dict[str, Any] = {
        "name": plan.name, "for_what": plan.for_what, "words": plan.words, "edition": str(plan.edition),
        "steps": [],
    }  # fmt: skip
    for key, step in enumerate(plan.steps.all()):
        data["steps"].append(str(key))
        data |= {
            f"step-{key}-rate": str(step.rate_id),
            f"step-{key}-material": str(step.material_id or ""),
            f"step-{key}-equipment": str(step.equipment_id or ""),
            f"step-{key}-coats": str(step.coats),
            f"step-{key}-grit": step.grit,
            f"step-{key}-faces": step.faces,
            f"step-{key}-note": step.note,
            f"step-{key}-only_if": step.only_if,
        }
    return data


def order(text: str) -> list[str]:
    return re.findall(r'name="steps" value="(\d+)"', text)


def test_a_schedule_is_kept_as_it_stands(plan: Schedule, desk: Browser) -> None:
    before = queries.snapshot(plan)["steps"]
    answer = desk.post(reverse("desk:price-schedule", args=[plan.pk]), {**typed(plan), "keep": "1"})
    assert answer.status_code == 302
    after = queries.schedule(plan.pk)
    assert after is not None
    assert after.edition == plan.edition + 1
    assert queries.snapshot(after)["steps"] == before


@pytest.mark.parametrize(
    ("press", "expected"),
    [
        ({"step_up": "1"}, "1 0 2 3 4 5 6 7 8 9"),
        ({"step_down": "8"}, "0 1 2 3 4 5 6 7 9 8"),
        ({"step_up": "0"}, "0 1 2 3 4 5 6 7 8 9"),
        ({"step_down": "9"}, "0 1 2 3 4 5 6 7 8 9"),
        ({"remove_step": "3"}, "0 1 2 4 5 6 7 8 9"),
        ({"add_step": "2"}, "0 1 2 10 3 4 5 6 7 8 9"),
        ({"add_step": ""}, "0 1 2 3 4 5 6 7 8 9 10"),
        ({"remove_step": "77"}, "0 1 2 3 4 5 6 7 8 9"),
    ],
)
def test_presses_move_add_and_take_away_steps_and_keep_nothing_yet(
    press: dict[str, str], expected: str, plan: Schedule, desk: Browser
) -> None:
    answer = desk.post(
        reverse("desk:price-schedule", args=[plan.pk]), {**typed(plan), "words": "Mine.", **press}
    )
    assert answer.status_code == 200
    text = answer.content.decode()
    assert order(text) == expected.split()
    assert "Mine." in text
    plan.refresh_from_db()
    assert plan.words != "Mine."
    assert plan.steps.count() == 10


def test_a_new_order_is_kept(plan: Schedule, desk: Browser) -> None:
    data = typed(plan)
    data["steps"] = list(reversed(data["steps"]))
    desk.post(reverse("desk:price-schedule", args=[plan.pk]), {**data, "keep": "1"})
    after = queries.schedule(plan.pk)
    assert after is not None
    names = [step.rate.name for step in after.steps.all()]
    assert names == [step.rate.name for step in plan.steps.all()][::-1]


def test_a_step_that_cannot_be_is_told_in_its_row_which_opens(plan: Schedule, desk: Browser) -> None:
    data = {**typed(plan), "step-1-coats": "400", "step-3-grit": "coarse", "keep": "1"}
    answer = desk.post(reverse("desk:price-schedule", args=[plan.pk]), data)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Between 1 and 30 coats." in beside(text, "step-1-coats")
    assert "A grit is a number" in beside(text, "step-3-grit")
    assert text.count("<details open>") == 2
    assert Schedule.objects.get(pk=plan.pk).edition == plan.edition


def test_grits_out_of_order_are_warned_of_and_kept_all_the_same(plan: Schedule, desk: Browser) -> None:
    here = reverse("desk:price-schedule", args=[plan.pk])
    data = {**typed(plan), "step-3-grit": "60", "keep": "1"}
    assert desk.post(here, data).status_code == 302
    assert "From 60 to 150 is too far" in page(desk, "price-schedule", plan.pk)


def test_the_second_of_two_who_write_is_told_and_loses_nothing(
    plan: Schedule, as_owner: Who, desk: Browser
) -> None:
    here, data = reverse("desk:price-schedule", args=[plan.pk]), {**typed(plan), "keep": "1"}
    desk.post(here, {**data, "words": "Hers."})
    answer = desk.post(here, {**data, "words": "His."})
    text = answer.content.decode()
    assert answer.status_code == 409
    assert "Somebody changed this schedule" in text
    assert "His." in text
    edition = re.search(r'name="edition" value="(\d+)"', text)
    assert edition
    desk.post(here, {**data, "words": "His.", "edition": edition.group(1)})
    assert Schedule.objects.get(pk=plan.pk).words == "His."


def test_a_schedule_that_names_what_is_out_of_use_says_so_and_can_be_kept(
    plan: Schedule, as_owner: Who, desk: Browser
) -> None:
    actions.retire(Material.objects.get(kind="oil"), as_owner)
    text = page(desk, "price-schedule", plan.pk)
    assert "Out of use, and still in it: Hardwax oil." in text
    assert "Hardwax oil (out of use)" in text
    assert "Hardwax oil" not in page(desk, "price-schedule-new")
    answer = desk.post(reverse("desk:price-schedule", args=[plan.pk]), {**typed(plan), "keep": "1"})
    assert answer.status_code == 302


def test_a_schedule_without_steps_can_be_begun(desk: Browser) -> None:
    answer = desk.post(reverse("desk:price-schedule-new"), {"name": "Lime-washed", "keep": "1"})
    assert answer.status_code == 302
    assert "No steps yet." in page(desk, "price-schedule", Schedule.objects.get().pk)


# -- files ---------------------------------------------------------------------------------------------------


def hand_in(desk: Browser, kind: str, text: str | bytes) -> Any:
    data = text.encode() if isinstance(text, str) else text
    file = SimpleUploadedFile("list.csv", data, content_type="text/csv")
    return desk.post(reverse("desk:price-sheet-in", args=[kind]), {"file": file})


def test_a_file_is_looked_at_first_and_then_taken_in(book: None, desk: Browser) -> None:
    answer = hand_in(desk, "materials", "name,coats\nHardwax oil,3\nPaste wax,2\nSoap,1\n")
    assert answer.status_code == 302
    look = answer["Location"]
    text = desk.get(look).content.decode()
    assert "<b>Hardwax oil</b>: other coats" in text
    assert "1 new, 1 changed; 1 stays as it is." in text
    assert "<b>Soap</b>: new" in text
    assert "Paste wax" not in text
    assert not Material.objects.filter(name="Soap").exists()
    assert desk.post(look, {}).status_code == 302
    assert Material.objects.get(name="Hardwax oil").coats == 3
    assert Material.objects.filter(name="Soap").exists()
    again = desk.post(look, {}, follow=True)
    assert "has been taken in" in again.content.decode()


def test_a_file_with_a_mistake_is_told_by_line_and_waits_for_nothing(book: None, desk: Browser) -> None:
    answer = hand_in(desk, "steps", "name,minutes once\nPolish,5\nSand,none\n")
    assert answer.status_code == 422
    assert "<li>Line 3: minutes once: Write a number, such as 2 or 2.5.</li>" in answer.content.decode()
    assert not Sheet.objects.exists()


@pytest.mark.parametrize(
    ("data", "said"), [(b"", "empty"), (b"\xff\xfe", "UTF-8"), (b"x" * (5 * 1024 * 1024 + 1), "5 MB")]
)
def test_a_file_that_is_none_is_told(data: bytes, said: str, desk: Browser) -> None:
    answer = hand_in(desk, "materials", data)
    assert answer.status_code == 422
    assert said in answer.content.decode()


def test_the_files_come_out_as_csv(book: None, desk: Browser) -> None:
    for kind, count in (("materials", 24), ("steps", 21)):
        answer = desk.get(reverse("desk:price-sheet-out", args=[kind]))
        assert answer["Content-Type"].startswith("text/csv")
        assert f'filename="{kind}.csv"' in answer["Content-Disposition"]
        assert answer.content.count(b"\r\n") == count
    assert desk.get(reverse("desk:price-sheet-out", args=["clients"])).status_code == 404
