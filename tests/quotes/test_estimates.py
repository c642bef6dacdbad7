"""From sizes to litres, minutes and money on the quote page: kept, put in by hand, given back, copied."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from shopdesk.base.who import Who
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission
from shopdesk.pricebook import actions as book
from shopdesk.pricebook.models import Can, Material, Schedule, Shape, ShopRates
from shopdesk.pricebook.starter import LEAD_TEST
from shopdesk.quotes import actions
from shopdesk.quotes.estimates import GROUPS
from shopdesk.quotes.models import Estimate, Override, Quote
from shopdesk.quotes.queries import draft_of, estimates_of
from shopdesk.quotes.sizes import sizes_of
from shopdesk.shop.models import Shop
from tests.quotes.test_pages import at, sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def schedule(shop: Shop, as_owner: Who) -> Schedule:
    """Of the starting set, the one whose colour coat is sprayed."""
    book.begin(as_owner)
    return Schedule.objects.filter(steps__material__kind=Material.Kind.COLOUR).distinct().order_by("id")[0]


@pytest.fixture
def draft(commission: Commission, as_owner: Who) -> Quote:
    return actions.start(commission, as_owner)


def measured(schedule: Schedule, **other: Any) -> dict[str, Any]:
    """A table of 1.40 × 0.70 × 0.75 m."""
    return {
        "est-0-shape": "table",
        "est-0-was": "table",
        "est-0-schedule": str(schedule.pk),
        "est-0-of": str(schedule.pk),
        "est-0-count": "1",
        "est-0-size-length_mm": "140 cm",
        "est-0-size-width_mm": "70 cm",
        "est-0-size-height_mm": "75 cm",
        **other,
    }


def says(page: str, key: str) -> str:
    """What stands in the element of this id."""
    found = re.search(rf'id="{re.escape(key)}"[^>]*>(.*?)</(?:span|p|div)>(?:\s*</summary>)?', page, re.S)
    assert found is not None, key
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", found[1])).strip()


def test_from_sizes_to_figures(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    typed = sheet(commission, draft.edition, shop, **measured(schedule))
    page = desk.post(at("desk:quote-sums", commission), typed).content.decode()
    # 1.40 × 0.70 and the edges around, 2 × (1.40 + 0.70) × 0.025 = 1.085 m² = 11.7 ft²
    assert says(page, "v-0-area-top") == "11.7 ft²"
    assert "11.7 ft²" in says(page, "b-0-area-top")
    assert 'id="v-0-area-body"' not in page, "a table has no body"
    enamel = Material.objects.get(kind=Material.Kind.COLOUR, name__icontains="enamel")
    assert re.search(r"coats × [\d.]+ ft² ÷ \(\d+ ft²/gal × 0\.\d+\)", says(page, f"b-0-litres-{enamel.pk}"))
    assert "can" in says(page, f"b-0-cans-{enamel.pk}")
    assert "× $65.00 =" in says(page, "b-0-work")
    assert re.search(r"\$[\d.,]+ an hour", re.sub(r"<[^>]+>", "", page))
    assert not Estimate.objects.exists(), "looking keeps nothing"


def test_what_is_done_once_for_a_set(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    step = schedule.steps.filter(rate__minutes_once__gt=0).order_by("position")[0]
    only_once = {"minutes_per_m2": 0, "minutes_per_piece": 0, "minutes_per_drawer": 0, "minutes_per_door": 0}
    type(step.rate).objects.filter(pk=step.rate_id).update(minutes_once=12, **only_once)
    place = list(schedule.steps.values_list("pk", flat=True)).index(step.pk)
    for count in ("1", "6"):
        typed = sheet(commission, draft.edition, shop, **measured(schedule, **{"est-0-count": count}))
        page = desk.post(at("desk:quote-sums", commission), typed).content.decode()
        assert says(page, f"v-0-minutes-{place}") == "12 min"
        assert says(page, f"b-0-minutes-{place}") == "12 min once"


def test_kept_with_its_schedule_whatever_becomes_of_the_book(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule, as_owner: Who
) -> None:
    typed = sheet(commission, draft.edition, shop, **measured(schedule))
    assert desk.post(at("desk:quote", commission), typed).status_code == 302
    before = desk.get(at("desk:quote", commission)).content.decode()
    Can.objects.update(price=Decimal(999))
    after = desk.get(at("desk:quote", commission)).content.decode()
    assert says(after, "v-0-cost") == says(before, "v-0-cost")
    Schedule.objects.all().delete()
    Material.objects.all().delete()
    gone = desk.get(at("desk:quote", commission)).content.decode()
    assert says(gone, "v-0-cost") == says(before, "v-0-cost")
    assert "as it was (out of use now)" in gone
    again = sheet(commission, draft.edition + 1, shop, **measured(schedule))
    assert desk.post(at("desk:quote", commission), again).status_code == 302
    kept = estimates_of(Quote.objects.get())
    assert [one.schedule["name"] for one in kept.values()] == [schedule.name]


def test_the_books_figures_of_today_when_asked(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    desk.post(at("desk:quote", commission), sheet(commission, draft.edition, shop, **measured(schedule)))
    before = says(desk.get(at("desk:quote", commission)).content.decode(), "v-0-cost")
    Can.objects.update(price=Decimal(999))
    fresh = sheet(commission, draft.edition + 1, shop, **measured(schedule, **{"est-0-fresh": "on"}))
    desk.post(at("desk:quote", commission), fresh)
    assert says(desk.get(at("desk:quote", commission)).content.decode(), "v-0-cost") != before


def test_a_figure_put_in_keeps_both_and_says_who(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    url = at("desk:quote", commission)
    put = measured(schedule, **{"est-0-put-area-top": "20"})
    assert desk.post(url, sheet(commission, draft.edition, shop, **put)).status_code == 302
    row = Override.objects.get()
    assert (row.figure, row.user.name) == ("area-top", "Runa Castellan")
    assert row.value == Decimal("1.858061")  # 20 ft²
    assert row.reckoned == Decimal("1.085")
    page = desk.get(url).content.decode()
    assert says(page, "v-0-area-top") == "20 ft² put in"
    assert "Worked out: 11.7 ft². Put in by Runa Castellan" in says(page, "b-0-area-top")
    assert 'name="est-0-put-area-top" value="20"' in re.sub(r"\s+", " ", page)
    # kept once more, nothing is added; then taken back, and the row that says so is added
    assert desk.post(url, sheet(commission, draft.edition + 1, shop, **put)).status_code == 302
    assert Override.objects.count() == 1
    back = {**sheet(commission, draft.edition + 2, shop, **put), "go_back": "0 area-top"}
    assert says(desk.post(url, back).content.decode(), "v-0-area-top") == "11.7 ft²"
    assert desk.post(url, sheet(commission, draft.edition + 2, shop, **measured(schedule))).status_code == 302
    assert list(Override.objects.values_list("figure", "value")) == [
        ("area-top", Decimal("1.858061")),
        ("area-top", None),
    ]
    assert says(desk.get(url).content.decode(), "v-0-area-top") == "11.7 ft²"


def test_what_is_put_in_belongs_to_its_schedule(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    other = Schedule.objects.exclude(pk=schedule.pk)[0]
    put = measured(schedule, **{"est-0-put-minutes-0": "500", "est-0-put-area-top": "20"})
    put["est-0-schedule"] = str(other.pk)
    page = desk.post(
        at("desk:quote", commission), {**sheet(commission, draft.edition, shop, **put), "reckon": "0"}
    ).content.decode()
    assert "500" not in says(page, "v-0-minutes-0")
    assert says(page, "v-0-area-top") == "20 ft² put in", "the piece is the same"


def test_its_lines_add_up_to_its_price(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    url = at("desk:quote", commission)
    typed = sheet(commission, draft.edition, shop, **measured(schedule))
    typed |= {"line-0-1-kind": "other", "line-0-1-text": "Glass", "line-0-1-unit_price": "10"}
    page = desk.post(url, {**typed, "use_lines": "0", "piece-0-words": ""}).content.decode()
    names = re.findall(r'name="(line-0-\d+-[a-z_]+)"[^>]*?value="([^"]*)"', page)
    texts = [value for name, value in names if name.endswith("-text")]
    assert "Glass" in texts
    assert "Coats" not in texts, "work and materials are the estimate's now"
    prices = [Decimal(value) for name, value in names if name.endswith("-unit_price") and value]
    hours = [Decimal(value) for name, value in names if name.endswith("-quantity")][: len(prices)]
    own = sum((round(one * many, 2) for one, many in zip(prices, hours, strict=True)), Decimal(0)) - 10
    assert says(page, "v-0-price") == f"${own:,.2f}"
    assert schedule.words.splitlines()[0] in page.replace("&#x27;", "'")
    price = desk.post(url, {**typed, "use_lines": "0", "est-0-put-price": "500"}).content.decode()
    found = re.findall(r'name="line-0-\d+-unit_price"[^>]*?value="([\d.,]+)"', price)
    assert sum(map(Decimal, found)) == 510, "a price put in is shared out to the last cent"


def test_lead_is_tested_where_it_may_be(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    typed = sheet(commission, draft.edition, shop, **measured(schedule))
    assert commission.pieces.get(position=1).lead_caution
    page = desk.post(at("desk:quote", commission), {**typed, "reckon": "0"}).content.decode()
    assert f"<span>{LEAD_TEST}</span>" in page
    assert "Bought for it" in page, "the kit"
    commission.pieces.update(lead_caution=False)
    page = desk.post(at("desk:quote", commission), {**typed, "reckon": "0"}).content.decode()
    assert f"<span>{LEAD_TEST}</span>" not in page
    assert "Bought for it" not in page


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("est-0-size-length_mm", "0", "size of zero"),
        ("est-0-size-length_mm", "-3", "below zero"),
        ("est-0-size-length_mm", "40 m", "longer than 10 metres"),
        ("est-0-count", "lots", "whole number"),
        ("est-0-put-area-top", "big", "cannot read"),
        ("est-0-put-minutes-0", "soon", "Write a time like"),
        ("est-0-put-cost", "-5", "without a minus sign"),
    ],
)
def test_a_size_that_cannot_be(
    desk: Browser,
    commission: Commission,
    draft: Quote,
    shop: Shop,
    schedule: Schedule,
    field: str,
    value: str,
    sentence: str,
) -> None:
    typed = sheet(commission, draft.edition, shop, **measured(schedule, **{field: value}))
    page = desk.post(at("desk:quote", commission), typed)
    assert page.status_code == 422
    text = page.content.decode().replace("&#x27;", "'")
    assert sentence in text
    assert f'id="id_{field}_error"' in text
    assert desk.post(at("desk:quote-sums", commission), typed).status_code == 200


def test_sizes_begin_with_the_clients_and_say_what_is_missing(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop
) -> None:
    typed = {**sheet(commission, draft.edition, shop), "est-0-shape": "case", "est-0-was": "", "reckon": "0"}
    page = desk.post(at("desk:quote", commission), typed).content.decode()
    assert 'value="55 1/8 in"' in page, "1400 mm, as the client gave it"
    assert "Still to be measured: depth, height." in page


def test_a_set_copied_to_its_siblings(
    desk: Browser, shop: Shop, schedule: Schedule, as_owner: Who, as_client: Who, commission: Commission
) -> None:
    chairs = [NewPiece(f"chair {number}", finish_now="bare") for number in (1, 2, 3)]
    order = NewCommission(commission.client, "page", Wish("Chairs"), chairs)
    three = open_commission(order, as_client)
    draft = actions.start(three, as_owner)
    pieces = {f"piece-{key}-piece": piece.pk for key, piece in enumerate(three.pieces.all())}
    names = {f"piece-{key}-name": f"chair {key + 1}" for key in range(3)}
    typed = sheet(three, draft.edition, shop, **measured(schedule), **names)
    typed |= {"pieces": ["0", "1", "2"], "copy_piece": "0"} | pieces
    page = desk.post(at("desk:quote", three), typed).content.decode()
    assert page.count("Three coats.</textarea>") == 3
    found = dict(re.findall(r'name="(line-\d-0-quantity)"[^>]*?value="([\d.,]+)"', page))
    assert found == {"line-0-0-quantity": "2,5", "line-1-0-quantity": "2.13", "line-2-0-quantity": "2.13"}
    assert says(page, "v-1-minutes") == says(page, "v-2-minutes") != says(page, "v-0-minutes")
    assert "× 0.85 as a later piece" in says(page, "b-1-minutes-1")


def test_a_revision_takes_the_estimate_along(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule, as_owner: Who
) -> None:
    put = measured(schedule, **{"est-0-put-area-top": "20"})
    desk.post(at("desk:quote", commission), sheet(commission, draft.edition, shop, **put))
    kept = draft_of(commission)
    assert kept is not None
    actions.send(commission, kept.edition, as_owner)
    second = actions.start(commission, as_owner)
    assert [one.overrides.count() for one in estimates_of(second).values()] == [1]
    assert Estimate.objects.count() == 2


def test_no_statement_for_a_line(
    desk: Browser,
    commission: Commission,
    draft: Quote,
    shop: Shop,
    schedule: Schedule,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    desk.post(at("desk:quote", commission), sheet(commission, draft.edition, shop, **measured(schedule)))
    typed = sheet(commission, draft.edition + 1, shop, **measured(schedule))
    typed["lines"] = [f"0-{row}" for row in range(60)]
    for row in range(60):
        typed |= {
            f"line-0-{row}-kind": "finish",
            f"line-0-{row}-text": "Coats",
            f"line-0-{row}-quantity": "1",
            f"line-0-{row}-unit_price": "7.50",
        }
    with django_assert_max_num_queries(18):
        page = desk.post(reverse("desk:quote-sums", args=[commission.number]), typed).content.decode()
    assert "$450.00" in page


def test_a_draft_begins_with_the_books_smallest_charge(
    commission: Commission, schedule: Schedule, as_owner: Who, shop: Shop
) -> None:
    draft = actions.start(commission, as_owner)
    assert (draft.minimum, draft.rush, draft.rush_share) == (Decimal(180), False, Decimal(25))


def test_a_book_in_other_money_is_not_reckoned_with(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    ShopRates.objects.update(currency="EUR")
    typed = sheet(commission, draft.edition, shop, **measured(schedule))
    page = desk.post(at("desk:quote", commission), {**typed, "reckon": "0"}).content.decode()
    assert "The price book counts in EUR, this quote in USD" in page
    assert "what an hour earns cannot be worked out" in page.replace("\n", " ")
    assert 'id="v-0-price"' not in page


def test_a_client_sees_nothing_of_the_desk(portal: Browser, commission: Commission, draft: Quote) -> None:
    assert portal.post(at("desk:quote-sums", commission), {}).status_code in (302, 403)


@pytest.mark.parametrize("shape", [value for value in Shape.values if value != "other"])
def test_every_shape_is_measured_and_worked_out(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule, shape: str
) -> None:
    given = {
        f"est-0-size-{size.name}": "2" if size.name == "face_mm" else "30"
        for size in sizes_of(shape)
        if size.needed
    }
    own = {**measured(schedule), "est-0-shape": shape, "est-0-was": shape, **given}
    page = desk.post(
        at("desk:quote-sums", commission), sheet(commission, draft.edition, shop, **own)
    ).content.decode()
    assert "Still to be measured" not in page
    areas = [says(page, f"v-0-area-{group}") for group in GROUPS[shape]]
    assert [area for area in areas if area.endswith("ft²")], areas
    assert not [area for area in areas if area == "?"]
    assert Decimal(says(page, "v-0-price").strip("$").replace(",", "")) > 100


def test_another_shape_by_its_areas(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    own = {**measured(schedule), "est-0-shape": "other", "est-0-was": "other"}
    url = at("desk:quote-sums", commission)
    page = desk.post(url, sheet(commission, draft.edition, shop, **own)).content.decode()
    assert "Give at least one area." in page
    own["est-0-size-area_top"] = "12 sq ft"
    page = desk.post(url, sheet(commission, draft.edition, shop, **own)).content.decode()
    assert says(page, "v-0-area-top") == "12 ft²"


def test_an_estimate_of_nonsense_does_no_harm(
    desk: Browser, commission: Commission, draft: Quote, shop: Shop, schedule: Schedule
) -> None:
    junk = {
        "est-0-shape": "../x", "est-0-schedule": "99999999999999999999", "est-0-count": "²",
        "est-0-put-": "1", "est-0-put-minutes-999": "5", "est-0-size-nothing": "3", "est-0-of": "💥",
    }  # fmt: skip
    for other in ({}, {"est-0-shape": "case"}, {"est-0-shape": "chair", "est-0-schedule": "abc"}):
        typed = sheet(commission, draft.edition, shop, **{**junk, **other})
        assert desk.post(at("desk:quote-sums", commission), typed).status_code == 200
        for press in ("reckon", "use_lines", "copy_piece", "go_back"):
            answer = desk.post(at("desk:quote", commission), {**typed, press: "7 💥"})
            assert answer.status_code == 200
        assert desk.post(at("desk:quote", commission), typed).status_code in (302, 422)
