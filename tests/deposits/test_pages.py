"""Writing payments down at the desk."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Stage
from shopdesk.deposits import invoices
from shopdesk.deposits.models import Entry, Receipt
from shopdesk.deposits.queries import standing
from shopdesk.quotes.actions import accept
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from tests.quotes.making import send

pytestmark = pytest.mark.django_db


@pytest.fixture
def agreed(commission: Commission, as_owner: Who, as_client: Who) -> Commission:
    accept(send(commission, as_owner).pk, [], "Ottoline Brask", as_client)
    commission.refresh_from_db()
    return commission


@pytest.fixture
def today(shop: Shop) -> date:
    return today_at(shop)


def paid(today: date, amount: str = "342.90", **other: Any) -> dict[str, Any]:
    return {
        "submission": str(uuid.uuid4()),
        "amount": amount,
        "on": str(today),
        "how": "transfer",
        "note": "",
        **other,
    }


def at(name: str, commission: Commission, *more: Any) -> str:
    return reverse(name, args=[commission.number, *more])


def test_what_is_open_stands_there_already(desk: Browser, agreed: Commission) -> None:
    page = desk.get(at("desk:payment", agreed)).content.decode()
    assert 'value="342.90"' in page
    assert "Still due" in page


def test_a_double_press_is_one_entry(desk: Browser, agreed: Commission, today: date) -> None:
    press = paid(today)
    first, second = (desk.post(at("desk:payment", agreed), press) for _ in range(2))
    assert first["Location"] == second["Location"] == at("desk:commission", agreed)
    assert Entry.objects.count() == Receipt.objects.count() == 1


@pytest.mark.parametrize(
    ("amount", "days", "sentence"),
    [
        ("", 0, "required"),
        ("a lot", 0, "not an amount we can read"),
        ("€ 20", 0, "counts in USD"),
        ("-20", 0, "without a minus sign"),
        ("9000", 0, "No more than $685.80 is due"),
        ("20", 1, "That day is still to come"),
    ],
)
def test_a_mistake_stands_beside_its_field(
    desk: Browser, agreed: Commission, today: date, amount: str, days: int, sentence: str
) -> None:
    page = desk.post(at("desk:payment", agreed), paid(today + timedelta(days=days), amount, note="By hand"))
    assert page.status_code == 422
    assert sentence in page.content.decode()
    assert 'value="By hand"' in page.content.decode()
    assert not Entry.objects.exists()


def test_taking_back_and_giving_back(desk: Browser, agreed: Commission, today: date) -> None:
    desk.post(at("desk:payment", agreed), paid(today, "100"))
    entry = Entry.objects.get()
    url = at("desk:reverse", agreed, entry.pk)
    assert "Take it back" in desk.get(url).content.decode()
    assert desk.post(url, {"note": ""}).status_code == 422
    assert desk.post(url, {"note": "Typed twice"}).status_code == 302
    assert "taken back already" in desk.get(url).content.decode()
    assert desk.post(url, {"note": "Once more"}).status_code == 422

    assert "no money of theirs" in desk.get(at("desk:refund", agreed)).content.decode()
    desk.post(at("desk:payment", agreed), paid(today, "342.90"))
    back = desk.post(at("desk:refund", agreed), paid(today, "42.90", note="Less to do", how="cash"))
    assert back.status_code == 302
    account = standing(agreed)
    assert account is not None
    assert (account.held, account.due) == (Decimal(300), Decimal("342.90"))
    assert "Receipt R-" in desk.get(at("desk:payment", agreed)).content.decode()


def test_letting_off(desk: Browser, agreed: Commission) -> None:
    url = at("desk:let-off", agreed)
    assert desk.post(url, {"reason": ""}).status_code == 422
    assert desk.post(url, {"reason": "A regular"}).status_code == 302
    agreed.refresh_from_db()
    assert agreed.stage == Stage.BOOKED
    assert "between the acceptance and the booking" in desk.get(url).content.decode()


def test_before_anything_is_agreed(desk: Browser, commission: Commission, today: date) -> None:
    assert "Nothing has been agreed yet" in desk.get(at("desk:payment", commission)).content.decode()
    assert (
        "Nothing has been agreed yet"
        in desk.post(at("desk:payment", commission), paid(today)).content.decode()
    )
    assert desk.get(at("desk:reverse", commission, 5)).status_code == 404


def test_what_was_agreed_keeps_its_currency(
    desk: Browser, portal: Browser, agreed: Commission, as_owner: Who, shop: Shop, today: date
) -> None:
    """The shop counts in euros from now on; what was agreed in dollars is still owed in dollars."""
    invoices.issue(agreed, as_owner)
    desk.post(at("desk:payment", agreed), paid(today, "100"))
    Shop.objects.update(currency="EUR", locale="de_DE")
    due = "585,80"
    pages = {
        at("desk:commission", agreed): due,
        at("desk:payment", agreed): due,
        at("desk:reverse", agreed, Entry.objects.get().pk): "100,00",
        at("desk:refund", agreed): "100,00",
        at("desk:invoice", agreed): "685,80",
        at("desk:cancel", agreed): "100,00",
        at("desk:propose-change", agreed): due,
        at("desk:quote", agreed): "685,80",
    }
    for page, sum_ in pages.items():
        text = desk.get(page, follow=True).content.decode()
        assert f"{sum_}\u00a0$" in text, page
        assert "€" not in text.replace("in EUR", ""), page
    for page in (at("portal:commission", agreed), at("portal:quote", agreed)):
        text = portal.get(page).content.decode()
        assert "685,80\u00a0$" in text, page
        assert "€" not in text, page
