"""The first day of a shop: one page, guarded by a code."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.shop.actions import ShopFacts, new_setup_code, set_up
from shopdesk.shop.models import OpeningWindow, SetupCode, Shop, User

pytestmark = pytest.mark.django_db
PASSWORD = "a long walk by the quay"
ANOTHER: ShopFacts = {"name": "Another", "address": "Elsewhere", "email": "b@example.com"}


def typed(code: str, **other: str) -> dict[str, str]:
    return {
        "code": code,
        "owner": "Runa Castellan",
        "login": "Runa@tidewell.example.com",
        "password": PASSWORD,
        "password_again": PASSWORD,
        "name": "Tidewell Bench",
        "address": "8 Slip Lane\nPort Marrin",
        "email": "hello@tidewell.example.com",
        "phone": "555-0118",
        "zone": "Europe/Berlin",
        "locale": "de_DE",
        "currency": "EUR",
        "units": "cm",
        "paper": "A4",
        "tax_name": "VAT",
        "tax_rate": "19,0 %",
        "tax_basis": "item",
        "tax_labour": "on",
        "hours_0": "9-12, 13:00–17:30",
        "hours_5": "10am to 1pm",
        "slot_minutes": "45",
        "notice_hours": "12",
        "deposit_share": "33.5",
        "terms": "Half now, half later.",
    } | other


def test_every_desk_page_leads_to_it_before_there_is_a_shop(client: Browser) -> None:
    for name in ("today", "shop", "openings", "sign-in"):
        answer = client.get(reverse(f"desk:{name}"))
        assert answer.status_code == 302
        assert answer["Location"] == reverse("desk:set-up")


def test_set_up_makes_shop_hours_and_owner_and_signs_in(client: Browser) -> None:
    code = new_setup_code()
    page = client.get(reverse("desk:set-up"), headers={"Accept-Language": "de-AT,de;q=0.8"})
    assert page.status_code == 200
    assert page.context["form"].initial["locale"] == "de_AT"
    assert page.context["form"].initial["zone"] == "Europe/Vienna"

    answer = client.post(reverse("desk:set-up"), typed(code.upper().replace("-", " ")))
    assert answer.status_code == 302, answer.context["form"].errors
    assert answer["Location"] == reverse("desk:today")
    shop = Shop.objects.get()
    assert (shop.pk, shop.zone, shop.currency, shop.slot_minutes, shop.notice_hours) == (
        1,
        "Europe/Berlin",
        "EUR",
        45,
        12,
    )
    assert (str(shop.tax_rate), str(shop.deposit_share), shop.tax_labour) == ("19.0000", "33.50", True)
    assert [(w.weekday, f"{w.opens:%H:%M}", f"{w.closes:%H:%M}") for w in OpeningWindow.objects.all()] == [
        (0, "09:00", "12:00"),
        (0, "13:00", "17:30"),
        (5, "10:00", "13:00"),
    ]
    owner = User.objects.get()
    assert owner.email == "runa@tidewell.example.com"
    assert client.session["_auth_user_id"] == str(owner.pk)
    assert client.get(reverse("desk:shop")).status_code == 200
    assert not SetupCode.objects.exists()
    assert client.get(reverse("desk:set-up"))["Location"] == reverse("desk:sign-in")


def test_a_second_press_of_the_same_form_lands_at_the_desk_too(client: Browser) -> None:
    form = typed(new_setup_code(), submission="6f1f5d0e-3a7e-4b7e-9d58-5d2a4c1f7a10")
    assert client.post(reverse("desk:set-up"), form)["Location"] == reverse("desk:today")
    assert client.post(reverse("desk:set-up"), form).status_code == 302
    assert (Shop.objects.count(), User.objects.count()) == (1, 1)


def test_the_wrong_code_makes_nothing_and_keeps_what_was_typed(client: Browser) -> None:
    new_setup_code()
    answer = client.post(reverse("desk:set-up"), typed("aaaa-aaaa"))
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "That is not the code." in page
    assert "8 Slip Lane" in page
    assert PASSWORD not in page
    assert not Shop.objects.exists()
    assert not User.objects.exists()


def test_an_older_code_is_worthless(client: Browser) -> None:
    old = new_setup_code()
    new_setup_code()
    assert client.post(reverse("desk:set-up"), typed(old)).status_code == 409
    assert old not in SetupCode.objects.get().code_hash


def test_codes_cannot_be_tried_out(client: Browser) -> None:
    code = new_setup_code()
    for _ in range(20):
        assert client.post(reverse("desk:set-up"), typed("aaaa-aaaa")).status_code == 409
    answer = client.post(reverse("desk:set-up"), typed(code))
    assert answer.status_code == 429
    assert "Too many tries" in answer.content.decode()
    assert not Shop.objects.exists()


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("password", "tidewell", "too short"),
        ("password_again", "something else", "not the same"),
        ("zone", "Mars/Olympus", "not one of the choices"),
        ("currency", "XAU", "not one of the choices"),
        ("tax_rate", "-3", "Write a number"),
        ("tax_rate", "٣", "Write a number"),
        ("tax_rate", "100", "more than"),
        ("tax_rate", "6.25001", "at most 4 decimals"),
        ("deposit_share", "101", "more than 100 percent"),
        ("slot_minutes", "20", "not one of the choices"),
        ("notice_hours", "-1", "less than 0"),
        ("hours_2", "nine to five", "we can read"),
        ("hours_2", "9:10-12", "quarter hour"),
        ("hours_2", "12-9", "ends after it begins"),
        ("hours_2", "9-12, 11-14", "overlap"),
        ("login", "runa", "not an email address"),
        ("name", " ", "fill this in"),
    ],
)
def test_what_cannot_be_is_said_beside_the_field(
    client: Browser, field: str, value: str, sentence: str
) -> None:
    answer = client.post(reverse("desk:set-up"), typed(new_setup_code(), **{field: value}))
    assert answer.status_code == 422
    assert sentence in " ".join(answer.context["form"].errors[field])
    assert not Shop.objects.exists()


def test_the_second_of_two_is_told(shop: Shop) -> None:
    with pytest.raises(Refused, match="has been set up by now"):
        set_up(owner="B", login="b@example.com", password=PASSWORD, hours=[], facts=ANOTHER)
    assert not User.objects.filter(email="b@example.com").exists()


def test_the_second_of_two_in_the_same_moment_is_told(shop: Shop, monkeypatch: Any) -> None:
    """Both looked before either had written: the constraint on the one id decides."""
    monkeypatch.setattr("shopdesk.shop.actions._not_yet", lambda: None)
    with pytest.raises(Refused, match="has been set up by now"):
        set_up(owner="B", login="b@example.com", password=PASSWORD, hours=[], facts=ANOTHER)
    assert Shop.objects.get().name == shop.name
    assert not User.objects.filter(email="b@example.com").exists()
